//! The published trouble tables against the knowledge base: what a handbook lists for a trouble, the trouble must make
//! likelier.
//!
//! Each row is one trouble of one source, said as a symptom and at most two answers, with the causes listed there. A
//! cause counts by its likeliest place, and by how much the trouble multiplies its chance. Every cause named here must
//! be at least twice as likely as before, and half of a row's listed causes must be in the top third of all causes by
//! that ratio. What a source lists and this craft cannot have, or this base leaves out, stands beside it with the reason.
//! Sources marked `from memory` were not at hand when the row was written.

use crate::{small_base, watercraft};
use doldrum::belief::believe;
use doldrum::case::{Case, text};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::Laid;
use doldrum::knowledge::{Cause, Ix, Knowledge};
use std::collections::BTreeMap;

/// A listed cause in the source's words, and the causes of this base that it is.
type Listed = (&'static str, &'static [&'static str]);

struct Row {
    source: &'static str,
    trouble: &'static str,
    symptoms: &'static str,
    /// Keys of the case: history and log.
    said: &'static str,
    listed: &'static [Listed],
    /// Causes mapped above that the trouble does not make twice as likely, and why that is right.
    weak: &'static [(&'static str, &'static str)],
    /// What is listed and left out, and why.
    left_out: &'static [(&'static str, &'static str)],
}

const FAA_POWERPLANT: &str =
    "FAA-H-8083-32, Aviation Maintenance Technician Handbook - Powerplant, reciprocating engine troubleshooting";
const FAA_POWERPLANT_MEMORY: &str = "FAA-H-8083-32, the same table (from memory)";
const TM_PUMP: &str = "TM 5-4930-227-14, table 5-3";
const TM_FUEL_PUMP: &str = "TM 5-4320-234-12, table 4-2";
const TM_TRUCK: &str = "TM 5-3805-254-20-1, fails to crank";
const TM_SHOP: &str = "TM 9-4940-421-14, table 4-1";
const PAGE: &str = "Page, Aviation Engines (1917), carburetion summary";
const FAA_PARACHUTE: &str = "FAA-H-8083-29, Powered Parachute Flying Handbook, chapters 4 and 5 (two-stroke engines)";
const HARBOR: &str = "University of Washington, Friday Harbor Laboratories, small-boat problems";
const BOATING_CLUB: &str = "America's Boating Club magazine, outboard trouble";
const BOATUS: &str = "BoatUS magazine, June 2013";
const OUTBOARD: &str = "Outboard fault list (trade article, 2000)";
const OFF_ROAD: &str = "Off-road vehicle service manual, 2009, p. 119";
const SMALL_ENGINE: &str = "Small-engine shop handbook, prime test";
const GENERATOR: &str = "Generator repair manual, plug test after a failed start";
const HARD_START: &str = "Hard-start list (trade reprint)";
const STALLS: &str = "Stalls (trade reprint)";
const PLUG_COLOR: &str = "Outboard manual, plug color";

const FLANGE: (&str, &str) =
    ("carb-flange-leak", "small engines show it at idle: in the rows on idling, racing and bogging, where it leads");

const ROWS: &[Row] = &[
    Row {
        source: FAA_POWERPLANT,
        trouble: "fails to start",
        symptoms: "sy-cranks-no-start",
        said: "",
        listed: &[
            ("lack of fuel, mixture control at cutoff", &["tank-empty", "selector-wrong-position"]),
            ("over-priming", &["choke-stuck-on"]),
            ("bad plugs, wet electrodes", &["plug-fouled"]),
            ("bad ignition wire", &["plug-cap-lead-faulty"]),
            (
                "magneto not working right",
                &["cdi-box-faulty", "stator-charge-coil-faulty", "trigger-coil-faulty", "ignition-coil-faulty"],
            ),
            (
                "shorted ignition switch or loose ground",
                &["lanyard-or-stop-switch", "kill-wire-grounded", "ignition-ground-poor"],
            ),
            ("water in carburetor", &["water-in-fuel"]),
        ],
        weak: &[(
            "water-in-fuel",
            "half of all that fail to start do so for other reasons that no single cause can lift far: nearly twice, and \
             well over it once a prime fires",
        )],
        left_out: &[
            ("points, magnetized impulse coupling", "capacitor discharge ignition, no points and no coupling"),
            ("throttle set wrong", "these carburetors start at the idle stop, with the choke or primer for mixture"),
            ("frosted electrodes", "no summer trouble"),
        ],
    },
    Row {
        source: FAA_POWERPLANT,
        trouble: "fails to start, plug dry",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-plug-wet-dry, outcome: dry}]",
        listed: &[
            ("lack of fuel", &["tank-empty", "selector-wrong-position"]),
            ("under-priming", &["choke-not-closing", "primer-faulty"]),
        ],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: FAA_POWERPLANT,
        trouble: "fails to start, spark weak",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-spark-tester, outcome: weak-orange}]",
        listed: &[
            ("bad plugs", &["plug-fouled", "plug-gap-wrong", "plug-cracked-or-wrong"]),
            ("bad ignition wire", &["plug-cap-lead-faulty"]),
        ],
        weak: &[
            ("plug-gap-wrong", "the handbook's spark is seen at the plug; a sealed tester takes the plug's place"),
            (
                "plug-cracked-or-wrong",
                "the handbook's spark is seen at the plug; a sealed tester takes the plug's place",
            ),
        ],
        left_out: &[],
    },
    Row {
        source: FAA_POWERPLANT,
        trouble: "fails to start, compression low",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-compression, reading: 95 psi}]",
        listed: &[("internal failure", &["rings-worn", "piston-scored", "head-gasket-leak"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: FAA_POWERPLANT,
        trouble: "fails to start: weak or defective battery",
        symptoms: "sy-no-crank",
        said: "",
        listed: &[("weak or defective battery", &["battery-flat"]), ("loose ground", &["engine-ground-cable-bad"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: FAA_POWERPLANT,
        trouble: "will not idle properly",
        symptoms: "sy-no-idle",
        said: "",
        listed: &[
            ("idle speed stop wrong", &["idle-stop-misset"]),
            ("idle mixture wrong", &["low-screw-lean", "low-screw-rich"]),
            ("induction leak", &["carb-flange-leak", "base-gasket-leak", "throttle-shaft-air-leak"]),
            ("low compression", &["rings-worn"]),
            ("faulty ignition", &["plug-fouled", "plug-cap-lead-faulty"]),
        ],
        weak: &[
            (
                "rings-worn",
                "a starter turns these past the point where a hand-propped engine gives up: no start, or no top end",
            ),
            ("plug-fouled", "on one or two cylinders a bad plug stops the engine before it spoils the idle"),
            ("plug-cap-lead-faulty", "as a bad plug"),
        ],
        left_out: &[],
    },
    Row {
        source: FAA_POWERPLANT,
        trouble: "will not idle properly, and choke makes it worse",
        symptoms: "sy-no-idle",
        said: "log: [{check: ck-choke-response, outcome: worse}]",
        listed: &[
            ("leaking or open primer", &["primer-faulty"]),
            ("idle mixture wrong", &["low-screw-rich"]),
            ("dirty air filter (from memory)", &["airbox-blocked"]),
        ],
        weak: &[],
        left_out: &[("wrong plug for the conditions (from memory)", "seen by its number; with faulty ignition above")],
    },
    Row {
        source: FAA_POWERPLANT_MEMORY,
        trouble: "low power: sluggish, black smoke",
        symptoms: "sy-no-top-end",
        said: "log: [{check: ck-plug-color, outcome: sooty-black}]",
        listed: &[("mixture too rich", &["high-screw-rich", "choke-stuck-on"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: FAA_POWERPLANT_MEMORY,
        trouble: "low power, runs unevenly",
        symptoms: "sy-no-top-end",
        said: "",
        listed: &[
            ("mixture too lean", &["high-screw-lean", "high-jet-clogged"]),
            ("exhaust restriction", &["waterbox-blocked"]),
            ("induction leak", &["carb-flange-leak"]),
        ],
        weak: &[FLANGE],
        left_out: &[
            ("wrong fuel grade", "knock is not in the base"),
            ("points, valve clearance", "there are none"),
            ("wrong timing", "a moved key is heard as backfiring and hard starting here"),
        ],
    },
    Row {
        source: FAA_POWERPLANT_MEMORY,
        trouble: "low power, runs unevenly: half of it is missing",
        symptoms: "sy-one-cylinder",
        said: "log: [{check: ck-cylinder-balance@rear, outcome: one-cold}]",
        listed: &[
            ("bad plugs", &["plug-fouled", "plug-cracked-or-wrong"]),
            ("bad lead or terminal", &["plug-cap-lead-faulty"]),
        ],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: FAA_POWERPLANT_MEMORY,
        trouble: "will not reach full power",
        symptoms: "sy-no-top-end",
        said: "",
        listed: &[
            ("throttle lever out of adjustment", &["throttle-cable-misadjusted"]),
            ("induction leak", &["carb-flange-leak"]),
            ("air scoop or filter restricted", &["airbox-blocked"]),
            ("faulty ignition", &["rev-limiter-false", "ignition-coil-faulty"]),
        ],
        weak: &[
            FLANGE,
            ("ignition-coil-faulty", "a coil that fails stops a cylinder: in the rows on one that is cold"),
        ],
        left_out: &[("wrong fuel", "knock is not in the base")],
    },
    Row {
        source: FAA_POWERPLANT_MEMORY,
        trouble: "runs rough",
        symptoms: "sy-one-cylinder",
        said: "log: [{check: ck-cylinder-balance@rear, outcome: one-cold}]",
        listed: &[
            ("magneto fault", &["ignition-coil-faulty", "cdi-box-faulty"]),
            ("lead-fouled plugs", &["plug-fouled"]),
        ],
        weak: &[("cdi-box-faulty", "one box fires all cylinders, and mostly fails on all of them")],
        left_out: &[
            (
                "cracked mounts, worn bushings, unbalanced propeller",
                "vibration with sound firing is no complaint of this base",
            ),
            ("primer unlocked", "one primer feeds all cylinders: it does not make one of them miss"),
        ],
    },
    Row {
        source: FAA_POWERPLANT_MEMORY,
        trouble: "overheats",
        symptoms: "sy-overheat-alarm",
        said: "",
        listed: &[
            ("not enough cooling air", &["cooling-line-blocked", "intake-weed"]),
            ("low oil", &["oil-injection-low"]),
            ("bad gauge", &["rev-limiter-false"]),
            ("blow-by", &["head-gasket-leak"]),
        ],
        weak: &[],
        left_out: &[
            ("bad thermostat", "there is none"),
            ("failing bearing, clogged lines", "no oil system to show it"),
        ],
    },
    Row {
        source: TM_PUMP,
        trouble: "fails to start, by the gauge",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-compression, reading: 85 psi}]",
        listed: &[("weak compression", &["rings-worn", "piston-scored", "head-gasket-leak"])],
        weak: &[],
        left_out: &[
            ("a hole in the piston", "reads far below weak"),
            ("valve or seat defective", "no valves; the reeds stand for them in the row on popping"),
        ],
    },
    Row {
        source: TM_PUMP,
        trouble: "knock",
        symptoms: "",
        said: "log: [{check: ck-turn-by-hand, outcome: gritty-rumble}]",
        listed: &[("main or rod bearing faulty, loose or burned out", &["crank-bearing-failed"])],
        weak: &[],
        left_out: &[
            ("oil pump not working", "oil is mixed in or injected, not pumped to bearings"),
            ("piston pin loose", "goes with the top end"),
            ("uses too much oil, smokes", "four-stroke signs: a two-stroke burns its oil"),
        ],
    },
    Row {
        source: TM_FUEL_PUMP,
        trouble: "will not turn over on the start button",
        symptoms: "sy-no-crank",
        said: "",
        listed: &[
            ("loose or broken cables", &["battery-terminal-corroded", "engine-ground-cable-bad"]),
            ("weak or dead battery", &["battery-flat"]),
            ("starter switch cracked, no continuity", &["start-switch-or-interlock"]),
        ],
        weak: &[],
        left_out: &[("battery switch off", "there is none on these craft")],
    },
    Row {
        source: TM_TRUCK,
        trouble: "clicks or silence: on to wiring and voltage",
        symptoms: "sy-no-crank",
        said: "log: [{check: ck-crank-sound, outcome: single-click}]",
        listed: &[
            ("wiring and voltage", &["battery-terminal-corroded", "battery-flat", "start-relay-faulty"]),
            ("thumps but no crank: the starter", &["starter-motor-faulty"]),
        ],
        weak: &[],
        left_out: &[("grinding: ring gear or drive teeth", "no answer for it; the whirr covers the drive")],
    },
    Row {
        source: TM_TRUCK,
        trouble: "the starter spins alone",
        symptoms: "sy-no-crank",
        said: "log: [{check: ck-crank-sound, outcome: whirr-no-turn}]",
        listed: &[("replace the starter", &["starter-drive-stuck"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: TM_TRUCK,
        trouble: "11-13 V at the starter terminal while the button is held",
        symptoms: "sy-no-crank",
        said: "log: [{check: ck-relay-click-swap, outcome: click-and-out}]",
        listed: &[("the starter itself", &["starter-motor-faulty"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: TM_TRUCK,
        trouble: "not 11-13 V there: upstream",
        symptoms: "sy-no-crank",
        said: "log: [{check: ck-relay-click-swap, outcome: click-no-out}]",
        listed: &[("upstream of the starter", &["start-relay-faulty"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: TM_SHOP,
        trouble: "no smooth idle: look for gum and varnish",
        symptoms: "sy-no-idle",
        said: "",
        listed: &[("gum, varnish", &["low-jet-clogged", "transfer-ports-clogged"])],
        weak: &[],
        left_out: &[("linkage free", "a look at each service, listed with no trouble")],
    },
    Row {
        source: TM_SHOP,
        trouble: "gasoline is smelled",
        symptoms: "sy-fuel-leak-smell",
        said: "",
        listed: &[(
            "cracks, leaks",
            &["tank-or-filler-leak", "carb-gasket-leak", "inlet-fitting-damaged", "suction-air-leak"],
        )],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: PAGE,
        trouble: "hard to start or will not start, cylinders dry",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-plug-wet-dry, outcome: dry}]",
        listed: &[
            ("no fuel in tank", &["tank-empty"]),
            ("no fuel in carburetor chamber", &["needle-stuck-closed", "reg-diaphragm-torn"]),
            ("tank cock shut", &["selector-wrong-position"]),
            ("clogged screen", &["fuel-filter-clogged", "inlet-screen-clogged"]),
            ("clogged pipe", &["line-kinked", "hose-collapsed", "pickup-clogged"]),
            ("level too low", &["lever-too-low"]),
            ("too little at the jet", &["low-jet-clogged"]),
            ("mixture too lean", &["low-screw-lean"]),
        ],
        weak: &[],
        left_out: &[
            ("carburetor frozen", "two-strokes on warm water seldom ice"),
            ("loose or bad inlet manifold", "it leans the idle; it seldom keeps fuel from the plug"),
            ("dirt in chamber", "the dirt shows as a screen, jet or needle of its own"),
        ],
    },
    Row {
        source: PAGE,
        trouble: "hard to start or will not start, cylinders flooded",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-plug-wet-dry, outcome: wet-fuel}]",
        listed: &[
            ("level too high (floods)", &["lever-too-high", "needle-tip-grooved"]),
            ("float lever bent or stuck", &["needle-spring-misfit", "needle-held-open"]),
            ("cylinders flooded", &["choke-stuck-on"]),
        ],
        weak: &[],
        left_out: &[("fuel-soaked float", "diaphragms, no float")],
    },
    Row {
        source: PAGE,
        trouble: "stops while running, and comes back after a rest",
        symptoms: "sy-dies-after-minutes",
        said: "",
        listed: &[
            ("tank cap vent stopped up", &["tank-vent-blocked", "vent-check-reversed"]),
            ("pipe partly clogged", &["fuel-filter-clogged", "hose-collapsed", "pickup-clogged"]),
            ("water at the nozzle", &["water-in-fuel"]),
            ("air lock", &["suction-air-leak"]),
        ],
        weak: &[],
        left_out: &[("leaky pressurized tank or air line", "the tank is not under pressure")],
    },
    Row {
        source: PAGE,
        trouble: "stops while running, and stays dead",
        symptoms: "sy-cranks-no-start",
        said: "history: {cx-onset: sudden-while-running}",
        listed: &[
            ("cock jarred shut", &["selector-wrong-position"]),
            ("tank empty", &["tank-empty"]),
            ("carbon across the plug gap", &["plug-fouled"]),
            ("ignition shorted by a ground wire", &["kill-wire-grounded", "lanyard-or-stop-switch"]),
            ("needle valve stuck", &["needle-stuck-closed"]),
        ],
        weak: &[],
        left_out: &[
            ("water at the nozzle", "in the row that comes back after a rest"),
            ("adjusting needle jarred loose", "a sealed or sprung screw does not wander in a ride"),
        ],
    },
    Row {
        source: PAGE,
        trouble: "races, will not throttle down",
        symptoms: "sy-races",
        said: "",
        listed: &[
            ("air leak in inlet pipe", &["carb-flange-leak"]),
            ("broken control rod, throttle not closing", &["throttle-cable-misadjusted", "idle-stop-misset"]),
            ("bad induction joints", &["base-gasket-leak", "throttle-shaft-air-leak"]),
        ],
        weak: &[],
        left_out: &[
            ("air leak at valve guides", "no valves; the crank seals stand for them below"),
            ("poor slow-speed adjustment", "hangs the idle for a moment, does not hold it up"),
        ],
    },
    Row {
        source: PAGE,
        trouble: "popping or blow-back in the carburetor",
        symptoms: "sy-backfires",
        said: "",
        listed: &[
            ("inlet seat, weak or broken spring", &["reed-chipped", "reed-gapped"]),
            ("inlet timing", &["flywheel-key-sheared"]),
        ],
        weak: &[],
        left_out: &[("hiss, knock, click: other places", "four-stroke parts")],
    },
    Row {
        source: PAGE,
        trouble: "overheating",
        symptoms: "sy-overheat-alarm",
        said: "",
        listed: &[
            ("water space or pipes clogged by scale", &["cooling-line-blocked"]),
            ("oil low", &["oil-injection-low"]),
        ],
        weak: &[],
        left_out: &[
            ("bearings too tight", "a fitting fault of rebuilt four-strokes"),
            ("carbon on piston", "preignition is not in the base"),
        ],
    },
    Row {
        source: FAA_PARACHUTE,
        trouble: "higher altitude, same jets: rough, plugs foul, power loss",
        symptoms: "sy-no-top-end",
        said: "log: [{check: ck-plug-color, outcome: sooty-black}]",
        listed: &[("progressively richer", &["jetting-wrong"])],
        weak: &[],
        left_out: &[
            (
                "low altitude with high-altitude jets: hot, seizure",
                "lean running to a scored piston is a loop, cut on purpose",
            ),
            ("carburetor ice", "two-strokes are less prone, and water is warm when these run"),
        ],
    },
    Row {
        source: FAA_PARACHUTE,
        trouble: "fuel contamination",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-fuel-jar, outcome: layer-or-beads}]",
        listed: &[("not drained, unfiltered drums, stored part-full", &["water-in-fuel"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: FAA_PARACHUTE,
        trouble: "fuel left for weeks goes bad",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-fuel-jar, outcome: dark-sour}]",
        listed: &[("goes bad", &["stale-fuel"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: FAA_PARACHUTE,
        trouble: "a rush of air when the tank cap is opened",
        symptoms: "sy-dies-after-minutes",
        said: "log: [{check: ck-tank-vent, outcome: hiss-and-recovers}]",
        listed: &[("vent blocked", &["tank-vent-blocked"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: FAA_PARACHUTE,
        trouble: "oil starvation",
        symptoms: "sy-seizes",
        said: "",
        listed: &[("oil tank cap vent plugged (oil injection)", &["oil-injection-low"])],
        weak: &[],
        left_out: &[("preflight list, mixing fuel and oil", "no trouble stated")],
    },
    Row {
        source: HARBOR,
        trouble: "slows or quits",
        symptoms: "sy-dies-after-minutes",
        said: "",
        listed: &[
            ("can vent shut", &["tank-vent-blocked"]),
            ("overheated (water intake)", &["cooling-line-blocked", "intake-weed"]),
            ("bad fuel", &["water-in-fuel"]),
        ],
        weak: &[("intake-weed", "costs thrust before it costs cooling: in that row")],
        left_out: &[
            ("can empty", "a craft out of fuel does not come back after a rest: in the row that stays dead"),
            ("propeller damage", "below"),
        ],
    },
    Row {
        source: HARBOR,
        trouble: "slows: propeller damage",
        symptoms: "sy-no-thrust",
        said: "",
        listed: &[("propeller damage", &["wear-ring-or-impeller", "intake-weed"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: HARBOR,
        trouble: "will not start",
        symptoms: "sy-cranks-no-start",
        said: "",
        listed: &[
            ("flooded", &["choke-stuck-on"]),
            ("no fuel smell", &["tank-empty", "selector-wrong-position", "needle-stuck-closed"]),
            ("kill-switch lanyard off", &["lanyard-or-stop-switch"]),
        ],
        weak: &[],
        left_out: &[("battery switch, not in neutral", "no battery switch and no gears")],
    },
    Row {
        source: BOATING_CLUB,
        trouble: "click or slow turn",
        symptoms: "sy-slow-crank",
        said: "",
        listed: &[
            ("battery", &["battery-flat"]),
            ("cables, check ground first", &["battery-terminal-corroded", "engine-ground-cable-bad"]),
        ],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: BOATING_CLUB,
        trouble: "does not turn",
        symptoms: "sy-no-crank",
        said: "log: [{check: ck-crank-sound, outcome: silent}]",
        listed: &[
            ("battery", &["battery-flat"]),
            ("fuse block", &["main-fuse-blown"]),
            ("starter relay", &["start-relay-faulty"]),
        ],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: BOATUS,
        trouble: "engine calls: does not start",
        symptoms: "sy-cranks-no-start",
        said: "",
        listed: &[("plugs, wires", &["plug-fouled", "plug-cap-lead-faulty"])],
        weak: &[],
        left_out: &[("not in neutral", "no gears")],
    },
    Row {
        source: BOATUS,
        trouble: "fuel calls: does not start, fires on a prime",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-prime-test, outcome: fires-2-5s-then-dies}]",
        listed: &[
            ("clogged in-line filter", &["fuel-filter-clogged"]),
            ("bad fuel, water after lay-up", &["stale-fuel", "water-in-fuel"]),
        ],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: BOATUS,
        trouble: "overheating",
        symptoms: "sy-overheat-alarm",
        said: "",
        listed: &[("intake debris", &["intake-weed", "cooling-line-blocked"])],
        weak: &[],
        left_out: &[("cooling impeller", "the jet pump feeds the cooling water")],
    },
    Row {
        source: OUTBOARD,
        trouble: "hard or no start",
        symptoms: "sy-cranks-no-start",
        said: "",
        listed: &[
            ("tank empty", &["tank-empty"]),
            ("timing out", &["flywheel-key-sheared"]),
            ("plugs: dirty, broken", &["plug-fouled", "plug-cracked-or-wrong"]),
        ],
        weak: &[],
        left_out: &[
            ("vent shut", "runs for minutes first here: in the row that comes back after a rest"),
            ("tank primer bulb, points, sync", "there are none, or it is not a fault of starting"),
        ],
    },
    Row {
        source: OUTBOARD,
        trouble: "hard or no start, plug dry",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-plug-wet-dry, outcome: dry}]",
        listed: &[
            ("lines kinked", &["line-kinked"]),
            ("filter or screen clogged", &["fuel-filter-clogged", "inlet-screen-clogged"]),
            ("not choked, choke linkage", &["choke-not-closing"]),
            ("not primed", &["primer-faulty"]),
            ("carburetor too lean", &["low-screw-lean"]),
        ],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: OUTBOARD,
        trouble: "starter dead",
        symptoms: "sy-no-crank",
        said: "",
        listed: &[
            ("connections, ground", &["battery-terminal-corroded", "engine-ground-cable-bad"]),
            ("safety switch, key or button, broken wire", &["start-switch-or-interlock"]),
            ("weak battery", &["battery-flat"]),
            ("solenoid", &["start-relay-faulty"]),
            ("brushes, field, armature", &["starter-motor-faulty"]),
        ],
        weak: &[],
        left_out: &[("moisture", "shows as the part it got into")],
    },
    Row {
        source: OUTBOARD,
        trouble: "clicks but does not engage",
        symptoms: "sy-no-crank",
        said: "log: [{check: ck-crank-sound, outcome: single-click}]",
        listed: &[
            ("connections", &["battery-terminal-corroded"]),
            ("battery", &["battery-flat"]),
            ("solenoid", &["start-relay-faulty"]),
        ],
        weak: &[],
        left_out: &[("drive rusted", "whirrs here: in the row on the starter that spins alone")],
    },
    Row {
        source: OFF_ROAD,
        trouble: "lean: hard or no start",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-plug-wet-dry, outcome: dry}]",
        listed: &[
            ("no fuel", &["tank-empty"]),
            ("line or valve restricted", &["line-kinked", "selector-valve-faulty"]),
            ("filter plugged", &["fuel-filter-clogged"]),
            ("inlet stuck shut", &["needle-stuck-closed"]),
            ("pump inoperative", &["pump-diaphragm-torn"]),
            ("impulse line leak or restriction", &["pulse-line-off-or-cracked", "pulse-passage-blocked"]),
            ("jets clogged", &["low-jet-clogged"]),
        ],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: OFF_ROAD,
        trouble: "lean: bog, hesitation, better with choke",
        symptoms: "sy-bogs",
        said: "log: [{check: ck-choke-response, outcome: better}]",
        listed: &[
            ("carburetor vent", &["reg-cover-vent-blocked"]),
            ("inlet needle screen plugged", &["inlet-screen-clogged"]),
            ("jets clogged", &["high-jet-clogged"]),
            ("pump inoperative", &["pump-diaphragm-stiff", "pump-check-valves-leaking"]),
            ("impulse line leak or restriction", &["pulse-line-off-or-cracked"]),
            ("intake air leak (throttle shaft, ducts)", &["carb-flange-leak", "throttle-shaft-air-leak"]),
            ("adjustment", &["high-screw-lean"]),
        ],
        weak: &[(
            "pulse-line-off-or-cracked",
            "off or split, it mostly keeps the engine from running at all: in the row above",
        )],
        left_out: &[("tank vent restricted", "fades after minutes: in the row that comes back after a rest")],
    },
    Row {
        source: OFF_ROAD,
        trouble: "lean: erratic idle",
        symptoms: "sy-no-idle",
        said: "",
        listed: &[
            ("jets clogged", &["low-jet-clogged"]),
            ("intake air leak (throttle shaft, ducts)", &["carb-flange-leak", "throttle-shaft-air-leak"]),
            ("adjustment", &["low-screw-lean"]),
        ],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: OFF_ROAD,
        trouble: "rich: bog, sooty plugs",
        symptoms: "sy-bogs",
        said: "log: [{check: ck-choke-response, outcome: worse}, {check: ck-plug-color, outcome: sooty-black}]",
        listed: &[
            ("intake restricted, dirty filter", &["airbox-blocked"]),
            ("choke stuck, choke cable", &["choke-stuck-on"]),
            ("mixture screw", &["low-screw-rich"]),
        ],
        weak: &[],
        left_out: &[("poor or old fuel", "does not light readily here; soot comes from too much of it")],
    },
    Row {
        source: OFF_ROAD,
        trouble: "rich: loads up, fouls plugs",
        symptoms: "sy-floods",
        said: "",
        listed: &[
            ("inlet needle and seat", &["needle-tip-grooved", "needle-seat-worn"]),
            ("needle seat O-ring", &["inlet-oring-swollen"]),
            ("choke stuck, choke cable", &["choke-stuck-on"]),
        ],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: SMALL_ENGINE,
        trouble: "burns the prime and dies: fuel system",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-prime-test, outcome: fires-2-5s-then-dies}]",
        listed: &[(
            "fuel system",
            &["tank-empty", "needle-stuck-closed", "pump-diaphragm-torn", "low-jet-clogged", "fuel-filter-clogged"],
        )],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: SMALL_ENGINE,
        trouble: "does not burn the prime: ignition, compression or flow",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-prime-test, outcome: nothing}]",
        listed: &[
            ("ignition", &["lanyard-or-stop-switch", "plug-fouled", "cdi-box-faulty"]),
            ("compression", &["rings-worn", "piston-holed"]),
        ],
        weak: &[],
        left_out: &[("flow (exhaust or intake blockage)", "costs top end first; a shut exhaust is not in the base")],
    },
    Row {
        source: GENERATOR,
        trouble: "wet plug after a failed start",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-plug-wet-dry, outcome: wet-fuel}]",
        listed: &[
            ("over-choking", &["choke-stuck-on"]),
            ("rich", &["low-screw-rich"]),
            ("inlet needle stuck open", &["needle-held-open", "needle-tip-grooved"]),
        ],
        weak: &[],
        left_out: &[("water in fuel", "water beads have an answer of their own"), ("intake valve open", "no valves")],
    },
    Row {
        source: GENERATOR,
        trouble: "dry plug after a failed start",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-plug-wet-dry, outcome: dry}]",
        listed: &[
            ("pump inoperative", &["pump-diaphragm-torn", "pump-check-valves-leaking", "pump-stack-misassembled"]),
            ("filter plugged", &["fuel-filter-clogged"]),
            ("varnished carburetor", &["needle-stuck-closed", "low-jet-clogged"]),
            ("leaking carburetor gasket", &["carb-gasket-leak"]),
        ],
        weak: &[("carb-gasket-leak", "with a pump ahead of it, it lets fuel out rather than air in")],
        left_out: &[("intake valve shut", "no valves")],
    },
    Row {
        source: HARD_START,
        trouble: "hard start, nearly dry plug: the fuel group",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-plug-wet-dry, outcome: dry}]",
        listed: &[
            ("fuel line or filter partly clogged", &["fuel-filter-clogged", "hose-collapsed"]),
            ("choke not closing", &["choke-not-closing"]),
        ],
        weak: &[],
        left_out: &[("vent", "in the row that comes back after a rest")],
    },
    Row {
        source: HARD_START,
        trouble: "hard start",
        symptoms: "sy-cranks-no-start",
        said: "",
        listed: &[
            ("fouled plug", &["plug-fouled"]),
            ("bad lead, loose magneto lead", &["plug-cap-lead-faulty", "ignition-connector-wet"]),
        ],
        weak: &[],
        left_out: &[
            ("worn points", "there are none"),
            ("low compression, water", "in the rows by the gauge and with a prime"),
        ],
    },
    Row {
        source: HARD_START,
        trouble: "weak or intermittent spark: the spark group",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-spark-tester, outcome: weak-orange}]",
        listed: &[
            ("fouled plug", &["plug-fouled"]),
            ("bad lead", &["plug-cap-lead-faulty"]),
            ("weak coil", &["ignition-coil-faulty", "stator-charge-coil-faulty"]),
            ("loose magneto lead", &["ignition-connector-wet", "ignition-ground-poor"]),
        ],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: STALLS,
        trouble: "stalls, better with less choke",
        symptoms: "sy-no-idle",
        said: "log: [{check: ck-choke-response, outcome: worse}]",
        listed: &[("clogged air filter", &["airbox-blocked"]), ("choke not opening", &["choke-stuck-on"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: STALLS,
        trouble: "stalls after minutes",
        symptoms: "sy-dies-after-minutes",
        said: "",
        listed: &[("vent", &["tank-vent-blocked", "vent-check-reversed"]), ("water", &["water-in-fuel"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: PLUG_COLOR,
        trouble: "whitish plug",
        symptoms: "sy-no-top-end",
        said: "log: [{check: ck-plug-color, outcome: white-blistered}]",
        listed: &[("clogged jet", &["high-jet-clogged"]), ("wrong setting", &["high-screw-lean"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: PLUG_COLOR,
        trouble: "blackish plug",
        symptoms: "sy-no-top-end",
        said: "log: [{check: ck-plug-color, outcome: sooty-black}]",
        listed: &[("rich", &["high-screw-rich", "choke-stuck-on"])],
        weak: &[],
        left_out: &[
            ("weak ignition", "wets and oils a plug here; the base has no soot from it"),
            ("long idling, wrong plug", "a matter of use; a wrong plug is seen by its number"),
        ],
    },
    Row {
        source: "Trade article on engines that idle fast after a long run",
        trouble: "idles faster after a long full-throttle run than before",
        symptoms: "sy-races",
        said: "",
        listed: &[("air leak", &["carb-flange-leak", "crank-seal-mag", "crank-seal-pto"])],
        weak: &[],
        left_out: &[],
    },
    Row {
        source: "Magneto ignitions stop by grounding: a shorted stop wire is no spark (common practice, no source)",
        trouble: "no spark",
        symptoms: "sy-cranks-no-start",
        said: "log: [{check: ck-spark-tester, outcome: none}]",
        listed: &[("shorted stop wire or switch", &["kill-wire-grounded", "lanyard-or-stop-switch"])],
        weak: &[],
        left_out: &[("broken stop wire", "it will not stop, which is a hazard here and no cause of not running")],
    },
];

/// Tables, or parts of them, that fit no row, and why.
const NOT_APPLICABLE: &[(&str, &str)] = &[
    ("TM 5-4930-227-14, table 5-3: uses too much oil, smokes", "four-stroke signs"),
    ("TM 10-4320-309-14, table 4-1: recoil starter", "electric start only"),
    ("TM 10-3930-618-20: vacuum gauge", "valves, and a manifold vacuum that a reed-valve two-stroke has not"),
    ("TM 5-2805-261-13: outboard checks", "intervals only; its fault table was not at hand"),
    ("Basic engine testing (vocational text): compression figures", "four-stroke figures"),
    (
        "Two-stroke piston post-mortems (snow vehicle and chain saw manuals)",
        "what broke it, not what is broken: lean running to a scored piston is a loop, cut on purpose; once found, companions say it",
    ),
    ("Crankcase air leak as the commonest cause of seizure (trade article)", "the same loop"),
    ("Never hold an open plug against the head", "a hazard, not a trouble"),
];

fn case(knowledge: &Knowledge, row: &Row) -> Case {
    // The tables speak of one cylinder, or of all of them alike; only a cylinder that misses needs another beside it.
    let layout = if row.symptoms == "sy-one-cylinder" { "twin-each" } else { "single" };
    let craft = format!("craft: {{layout: {layout}, options: {{primer: true}}}}");
    let head = "format: 1\nknowledge: {id: watercraft-two-stroke}";
    let whole = format!("{head}\n{craft}\nsymptoms: [{}]\n{}\n", row.symptoms, row.said);
    let (case, findings) = text::read(row.trouble, &whole, knowledge);
    case.unwrap_or_else(|| panic!("{}: {findings:#?}", row.trouble))
}

/// How many times likelier than before its answers each cause is, at its likeliest place; the most first.
fn ratios(knowledge: &Knowledge, case: &Case) -> Vec<(Ix<Cause>, f64)> {
    let laid = Laid::new(knowledge, case.craft.clone());
    let belief = believe(&laid, case, &Limits::default()).expect("within the limits");
    let mut best: BTreeMap<Ix<Cause>, f64> = BTreeMap::new();
    for cause in &belief.causes {
        let ratio = best.entry(cause.cause.item).or_default();
        *ratio = ratio.max(cause.chance / cause.prior);
    }
    let mut ratios: Vec<(Ix<Cause>, f64)> = best.into_iter().collect();
    ratios.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    ratios
}

#[test]
fn what_a_handbook_lists_the_trouble_makes_likelier() {
    let knowledge = watercraft::knowledge();
    let mut wrong = Vec::new();
    for row in ROWS {
        let ratios = ratios(&knowledge, &case(&knowledge, row));
        let place = |id: &str| {
            let ix = knowledge.causes.find(id).unwrap_or_else(|| panic!("`{id}` is a cause"));
            ratios.iter().position(|(c, _)| *c == ix).unwrap_or_else(|| panic!("`{id}` is of this craft"))
        };
        let head = format!("{}: {}", row.source, row.trouble);
        let mut high = 0;
        for (words, ids) in row.listed {
            let first = ids.iter().map(|id| place(id)).min().expect("mapped to at least one");
            high += usize::from(first < ratios.len().div_ceil(3));
            for id in *ids {
                let (rank, ratio) = (place(id) + 1, ratios[place(id)].1);
                println!("{head} | {words} | {id}: x{ratio:.2}, number {rank} of {}", ratios.len());
                let excepted = row.weak.iter().any(|(weak, _)| weak == id);
                if !excepted && ratio < 2.0 {
                    wrong.push(format!("{head}: `{id}` ({words}) is only x{ratio:.2}, number {rank}"));
                }
                // An exception that is none any more must go.
                if excepted && ratio >= 2.0 {
                    wrong.push(format!("{head}: `{id}` is no exception any more, x{ratio:.2}"));
                }
            }
        }
        if 2 * high < row.listed.len() {
            wrong.push(format!("{head}: {high} of {} listed causes in the top third", row.listed.len()));
        }
        for (id, _) in row.weak {
            assert!(row.listed.iter().any(|(_, ids)| ids.contains(id)), "{head}: `{id}` is not listed");
        }
        assert!(row.left_out.iter().all(|(what, why)| !what.is_empty() && !why.is_empty()));
    }
    assert!(NOT_APPLICABLE.iter().all(|(what, why)| !what.is_empty() && !why.is_empty()));
    assert!(wrong.is_empty(), "{} short:\n{}", wrong.len(), wrong.join("\n"));
}

/// The measure can fail: where nothing leads from a cause to the trouble, it is no likelier than before.
#[test]
fn a_cause_that_leads_nowhere_is_no_likelier() {
    let causes = "
- {id: leads, title: Leads, chance: 0.05, basis: estimate}
- {id: apart, title: Apart, chance: 0.05, basis: estimate}
";
    let symptoms = "
- {id: sy-fails, title: Fails, says: [Fails], share: 50, any: [{from: leads, strength: 0.9}], leak: 0.01, named: {present: 0.9, absent: 0.01}, hides: [sy-other], basis: estimate}
- {id: sy-other, title: Other, says: [Other], share: 50, any: [{from: apart, strength: 0.9}], leak: 0.01, named: {present: 0.9, absent: 0.01}, basis: estimate}
";
    let knowledge = small_base::read(0.0, 100.0, &[("causes", causes), ("symptoms", symptoms)]);
    let ratios = ratios(&knowledge, &small_base::case(&knowledge, "symptoms: [sy-fails]"));
    assert_eq!(knowledge.causes.id(ratios[0].0), "leads");
    assert!(ratios[0].1 > 5.0 && (ratios[1].1 - 1.0).abs() < 1e-9, "{ratios:?}");
}
