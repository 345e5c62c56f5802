package source

// The table of sources: a new one is one constant and one entry.

// Provenance says how the content of a source came to be known here.
type Provenance string

const (
	// Read: the document, or a copy or quotation of it, was read, in whole or in
	// the places cited.
	Read Provenance = "read"
	// Partly: some of what is cited was read, the rest is from memory.
	Partly Provenance = "partly read"
	// Memory: cited from memory; check the document before relying on it.
	Memory Provenance = "from memory"
	// Derived: follows by arithmetic from definitions.
	Derived Provenance = "derived"
)

// Source is one published document.
type Source struct {
	Key        string
	Document   string
	Address    string // where it was read, where that address is public and lasting
	Provenance Provenance
}

// Keys. They are plain strings so that they fit every Source field of the house.
const (
	ACPA           = "concrete-pipe-handbook"
	AnnualSeries   = "langbein-1949"
	ASCE60         = "asce-mop-60"
	ASCE37         = "asce-mop-37"
	ASTMD448       = "astm-d448"
	ASTMD2321      = "astm-d2321-05"
	Chicago        = "chicago-18-29"
	Chow1959       = "chow-1959"
	Chow1988       = "chow-maidment-mays-1988"
	Darcy          = "manning-darcy"
	Definition     = "definition"
	Dhakal2013     = "dhakal-2013"
	FAA1970        = "faa-150-5320-5b"
	HABITAT1991    = "habitat-1991"
	HDS2           = "fhwa-hds-2-2002"
	HDS5           = "fhwa-hds-5"
	HEC22          = "fhwa-hec-22-2009"
	Hooghoudt      = "ilri-16"
	Hydro35        = "nws-hydro-35"
	IDOT209        = "iowa-dot-im-209"
	IPC2012        = "ipc-2012"
	IPC2018        = "ipc-2018"
	IPC2021        = "ipc-2021"
	IRC2006        = "irc-2006"
	Kirpich1940    = "kirpich-1940"
	MinistryHealth = "ministry-of-health-curve"
	MerrittShear   = "merritt-2007"
	MolenWesseling = "van-der-molen-wesseling-1991"
	NEH630         = "nrcs-neh-630"
	NEH650         = "nrcs-neh-650-14"
	NOAA14         = "noaa-atlas-14"
	NSPC2006       = "nspc-2006"
	NSPC2015       = "nspc-2015-a"
	OSHA1926       = "29-cfr-1926-p"
	MSMA           = "msma-chart-27-2"
	SDSURouting    = "sdsu-online-routing"
	StateSlope     = "state-manual-fig-6-3"
	Tolono         = "tolono-il-5-16"
	TR55           = "usda-tr-55-1986"
	TxDOT          = "txdot-hydraulic"
	VanBeers1965   = "van-beers-1965"
	Rawls1998      = "rawls-1998"
	Bouwer1963     = "bouwer-1963"
	Rawls1982      = "rawls-1982"
	UPC            = "upc-appendix-d"
	USBR1993       = "usbr-drainage-1993"
	PermClass      = "nrcs-permeability-classes"
	Wenzel1982     = "wenzel-1982"
	YardPractice   = "practice-yard-trench"
)

var table = []Source{
	{ACPA, "American Concrete Pipe Association, Concrete Pipe Handbook, full-flow coefficients", "", Memory},
	{AnnualSeries, "W. B. Langbein, Annual floods and the partial-duration flood series, Trans. AGU 30, 1949", "", Memory},
	{ASCE60, "ASCE Manual of Practice 60, Gravity Sanitary Sewer Design and Construction: tractive force", "", Memory},
	{ASCE37, "ASCE Manual of Practice 37, Design and Construction of Sanitary and Storm Sewers: hydraulic elements", "", Memory},
	{ASTMD448, "ASTM C33 and D448, standard sizes of coarse aggregate", "", Partly},
	{ASTMD2321, "ASTM D2321-05, Underground Installation of Thermoplastic Pipe", "", Read},
	{Chicago, "Municipal Code of Chicago 18-29, plumbing: slope of drains, share of walls", "", Read},
	{Chow1959, "Chow, Open-Channel Hydraulics, 1959, section 6-4 and appendix A", "", Partly},
	{Chow1988, "Chow, Maidment and Mays, Applied Hydrology, 1988", "", Partly},
	{Darcy, "Equivalence of Manning's n and the Darcy friction factor, f = 124.5 n^2 / D^(1/3) (SI, g = 9.8)", "http://civilyarou.web.fc2.com/Tech_etc/sub_e_headloss.html", Read},
	{Definition, "Definition or exact conversion of units", "", Derived},
	{Dhakal2013, "Dhakal and others, J. Irrigation and Drainage Engineering, June 2013, table 3: frequency factors of design manuals", "", Read},
	{FAA1970, "FAA Advisory Circular 150/5320-5B, Airport Drainage, 1970", "", Partly},
	{HABITAT1991, "UNCHS (HABITAT), Stormwater Drainage and Land Reclamation for Urban Development, 1991, annex I", "", Read},
	{HDS2, "FHWA HDS-2, Highway Hydrology, FHWA-NHI-02-001, 2002", "", Read},
	{HDS5, "FHWA HDS-5, Hydraulic Design of Highway Culverts, table C-2", "", Partly},
	{HEC22, "FHWA HEC-22, Urban Drainage Design Manual, 3rd edition, 2009", "", Memory},
	{Hooghoudt, "ILRI Publication 16, Drainage Principles and Applications, 1994, chapter 8", "", Partly},
	{Hydro35, "NWS HYDRO-35, Five- to 60-minute precipitation frequency, 1977", "", Read},
	{IDOT209, "Iowa DOT Materials IM 209, appendix D: aggregate gradations", "", Read},
	{IPC2012, "International Plumbing Code 2012, table 1106.3", "", Partly},
	{IPC2018, "International Plumbing Code 2018, table 1106.2", "", Read},
	{IPC2021, "International Plumbing Code 2021, table 1106.2", "", Partly},
	{IRC2006, "International Residential Code 2006, R401.3", "", Read},
	{Kirpich1940, "Kirpich, Time of concentration of small agricultural watersheds, 1940", "", Partly},
	{MinistryHealth, "British Ministry of Health rainfall curve, as quoted in HABITAT 1991", "", Read},
	{MerrittShear, "Merritt, Tractive force design for self-cleansing, WEFTEC 2007", "", Read},
	{MolenWesseling, "Van der Molen and Wesseling, A solution in closed form and a series solution to replace the tables for the thickness of the equivalent layer in Hooghoudt's drain spacing formula, Agricultural Water Management 19, 1991", "", Memory},
	{NEH630, "USDA NRCS, National Engineering Handbook 630, chapter 15", "", Partly},
	{NEH650, "USDA NRCS, National Engineering Handbook 650, chapter 14", "", Memory},
	{NOAA14, "NOAA Atlas 14, point precipitation frequency estimates", "https://hdsc.nws.noaa.gov/pfds/", Read},
	{NSPC2006, "National Standard Plumbing Code 2006, table 13.6.1", "", Read},
	{NSPC2015, "National Standard Plumbing Code 2015, appendix A.1", "", Read},
	{OSHA1926, "29 CFR 1926 subpart P, excavations, and its appendix B", "https://www.osha.gov/laws-regs/regulations/standardnumber/1926/1926SubpartPAppB", Read},
	{Rawls1982, "Rawls, Brakensiek and Saxton, Estimation of soil water properties, Trans. ASAE 25, 1982, as tabled in Applied Hydrology 1988, table 4.3.1", "", Memory},
	{MSMA, "Urban Stormwater Management Manual for Malaysia, chart 27.2, entrance losses", "", Read},
	{SDSURouting, "San Diego State University, online calculators onlinerouting01 and onlinerouting02: worked examples of a linear reservoir", "http://onlinecalc.sdsu.edu/onlinerouting02example.html", Read},
	{StateSlope, "State drainage manual, figure 6-3, least slopes of storm drains, as quoted on a web page", "", Read},
	{Tolono, "Tolono, Illinois, municipal code 5.16, trench widths", "https://codelibrary.amlegal.com/codes/tolonoil/latest/tolono_il/0-0-0-5573", Read},
	{TR55, "USDA NRCS, Urban Hydrology for Small Watersheds, TR-55, 2nd edition, June 1986", "", Read},
	{TxDOT, "Texas DOT, Hydraulic Design Manual, chapters 6 and 10", "https://www.txdot.gov/manuals/des/hyd/", Partly},
	{UPC, "Uniform Plumbing Code, appendix D and the horizontal storm drain table", "", Partly},
	{USBR1993, "US Bureau of Reclamation, Drainage Manual, 1993, chapter 5", "", Memory},
	{PermClass, "NRCS permeability classes (0.06, 0.2, 0.6, 2, 6, 20 in/h), as reprinted in EPA 625/1-81-013, with the textures of a state soil interpretation table", "https://www.climate-policy-watcher.org/constructed-wetlands/natural-resources-conservation-service-nrcs-permeability-classes-for-saturated-soil.html", Read},
	{Rawls1998, "Rawls, Gimenez and Grossman, Use of soil texture, bulk density and slope of the water retention curve to predict saturated hydraulic conductivity, 1998, as quoted in the Minnesota Stormwater Manual (compacted, average, loosened)", "https://stormwater.pca.state.mn.us/", Read},
	{Bouwer1963, "Bouwer and van Schilfgaarde, Simplified method of predicting fall of water table in drained land, Trans. ASAE 6, 1963", "", Memory},
	{VanBeers1965, "Van Beers, Some nomographs for the calculation of drain spacings, ILRI Bulletin 8, 1965: drainable pore space from conductivity", "", Memory},
	{Wenzel1982, "Wenzel, Rainfall for urban stormwater design, 1982, coefficients as tabled in Applied Hydrology 1988, table 14.2.3", "", Memory},
	{YardPractice, "Common practice of yard trenches: stone, cap and intake rates", "", Memory},
}

// All returns every source, ordered by the document's key constant.
func All() []Source { return append([]Source(nil), table...) }

// Lookup returns the source of a key; ok is false for a key that is not listed.
func Lookup(key string) (s Source, ok bool) {
	for _, s := range table {
		if s.Key == key {
			return s, true
		}
	}
	return Source{}, false
}
