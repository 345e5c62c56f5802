// The shapes of what the service takes and sends, as far as the page reads them.
// The service's own document (openapi.json) is the whole of it; a quantity that
// is not known is null or left out.

export type XY = [number, number];
export type Box = [number, number, number, number];
export type Num = number | null | undefined;
export type Properties = Record<string, any>;

export interface Geometry { type: string; coordinates?: any; geometries?: Geometry[] }
export interface Feature { type: string; id?: string | number; geometry: Geometry | null; properties: Properties | null }
export interface Collection { type: string; features: Feature[]; [more: string]: unknown }
export interface SiteDocument { site?: string; crs?: unknown; layers: Record<string, Collection>; criteria?: any; terrain?: unknown; [more: string]: unknown }

export interface Finding { code: string; severity: string; message: string; cure?: string; lot?: string; feature?: string; measured?: Num; required?: Num; location?: number[] }
export interface ProfileRow { station_m: number; point?: string; at: number[]; ground_m: number; invert_m: number; crown_m: number; water_level_m?: Num; cut_m?: Num }
export interface Profile { from: string; to: string; runs?: string[]; rows: ProfileRow[] }
export interface Station extends ProfileRow { leaves: ProfileRow }
export interface QuantityRow { item: string; net: number; net_unit?: string; waste?: Num; order_quantity: number; order_unit: string; unit_cost?: Num; cost?: Num; basis: string }
export interface Summary { verdict: string; why_not?: string; cure?: string; lots?: string[]; outlet?: string; length_m: number; trench_length_m: number; fall_m: Num; least_slope: Num; flow_m3s: Num; greatest_depth_m: Num; cost_index: Num; cost?: Num; currency?: string }
export interface Storage { void_volume_m3?: Num; usable_volume_m3?: Num; peak_level_m?: Num; overflow_m3?: Num; empty_after_h?: Num; series?: number[][] }
/** What a backed-up inlet does to the drains of these lots. */
export interface Backed { lots?: string[]; without_valve?: Storage | null; with_valve?: Storage | null }
export interface Plan {
  summary: Summary; network?: Collection; trenches?: Properties[] | null; profiles?: Profile[] | null; quantities?: QuantityRow[] | null;
  storage?: Backed | null; more_storage?: Backed[] | null; overflow?: { path?: any }[] | null; ponds?: { location?: number[]; area_m2?: number }[] | null;
  water_cases?: Properties[] | null; alternatives?: Properties[] | null; findings?: Finding[] | null; cautions?: string[]; assumptions?: string[];
  rests_on?: Record<string, string[]>; frame?: Frame; verification?: { passed: boolean; checks: Properties[] }; what_if?: { change: { key: string; value: any }; as_planned: Properties; then: Properties; message?: string }[];
}
export interface Frame { crs: string; plane: string; metres_per_unit?: number }
export interface Zone { features?: Feature[]; findings?: Finding[]; frame?: Frame }
export interface Relief { corner: number[]; cell_m: number; columns: number; rows: number; base_m: number; heights_mm: number[] }
export interface Ground { relief?: Relief; features?: Feature[] }
/** A stretch of a drawn route that strays; mend is an arrow from its worst place to where the smallest shift brings it. */
export interface Stretch { from_m: number; to_m: number; short_m?: number; outside?: boolean; against?: string; text?: string; shift_east_m?: number; shift_north_m?: number; shift_mends?: boolean; mend?: Feature | undefined }

export interface BuiltLevel { shot: string; station_m: number; invert_m: number; planned_m: number; off_m: number; beside_m: number; standing_m: number }
export interface BuiltRun {
  run: string; from: string; to: string; length_m: number; planned_slope: number; slope: Num; flattest_slope?: Num; least_cover_m?: Num; greatest_off_m?: Num; greatest_beside_m?: Num; standing_m3: number;
  levels?: BuiltLevel[] | null; stretches?: { from_m: number; to_m: number; fall_m: number; slope: number; planned_slope: number }[] | null;
  pools?: { code: string; from_m: number; to_m: number; at_m: number; depth_m: number; volume_m3: number }[] | null;
}
export interface Built { verdict: string; why_not?: string; cure?: string; shift_m: Num; runs?: BuiltRun[] | null; findings?: Finding[] | null; cautions?: string[] }
