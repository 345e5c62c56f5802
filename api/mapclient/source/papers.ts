// The papers that leave the office, as the service makes them from the plan that
// is shown: what there is, and in which formats.

export const papers: [kind: string, name: string, formats: string[]][] = [
  ['plan', 'Plan and profile sheet', ['pdf', 'svg']],
  ['stakes', 'Stake-out', ['pdf', 'csv', 'xlsx', 'gpx', 'dxf', 'geojson']],
  ['takeoff', 'Quantities', ['pdf', 'xlsx', 'csv']],
  ['calculation', 'Calculation, step by step', ['pdf']],
  ['visit', 'Site visit: what to measure first', ['pdf']],
  ['proposal', 'Proposal for the owner', ['pdf']],
  ['proposal', 'Upkeep calendar', ['ics']],
  ['permit', 'Permit package', ['pdf']],
  ['crew', 'Crew sheet', ['pdf']],
  ['closeout', 'Close-out pack', ['pdf']],
];

export const sizes: [value: string, name: string][] = [['letter', 'Letter'], ['tabloid', 'Tabloid'], ['a4', 'A4'], ['a3', 'A3']];
