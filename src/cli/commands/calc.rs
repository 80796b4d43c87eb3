//! `doldrum calc`: bench arithmetic at the bench, both systems side by side.

mod tables;

use crate::calc::{air, compression, electrics, fuel, inlet, leak, mixture};
use crate::cli::Exit;
use crate::cli::args::calc::{Battery, Calc, Compression, Convert, Jet, Leak, Oil, Opening, Subject, Turns, Vapor};
use crate::cli::args::{Common, Format};
use crate::cli::out::{Failure, print, print_document};
use crate::report::figures::{as_given, in_both, to_figures};
use crate::report::{Range, Sheet};
use crate::units::{Measure, System, Unit};

/// The ratio of arms taken where none is given. Common practice: 0.55 to 0.70.
const USUAL_ARMS: f64 = 0.60;
/// Jets and seats are marked in millimeters everywhere.
const JETS: System = System::Metric;
/// The test pressure no crankcase is taken above without the craft's own limit. Common practice, psi.
const CASE_LIMIT_PSI: f64 = 5.0;

/// Works it out and prints it.
///
/// # Errors
/// Where numbers that are right one by one do not fit together, or nothing can be printed.
pub fn run(calc: &Calc, common: &Common) -> Result<Exit, Failure> {
    let system = System::from(common.units);
    let mut sheet = match &calc.subject {
        Subject::Opening(asked) => opening(asked, system),
        Subject::Compression(asked) => compression_sheet(asked, system),
        Subject::Leak(asked) => leak_sheet(asked, system),
        Subject::Battery(asked) => battery(asked, system),
        Subject::Jet(asked) => jet(asked),
        Subject::Oil(asked) => oil(asked, system),
        Subject::Vapor(asked) => vapor(asked, system),
        Subject::Turns(asked) => turns(asked)?,
        Subject::Convert(asked) => convert(asked)?,
    };
    if calc.table {
        sheet.table = tables::table(&calc.subject, system).map(|table| Range::of(&table));
    }
    match calc.format {
        Format::Json => {
            let json = serde_json::to_string_pretty(&sheet).map_err(|e| Failure::Stuck(e.to_string()))?;
            print(&format!("{json}\n"))?;
        }
        format => print_document(&sheet.document(), format)?,
    }
    Ok(Exit::Done)
}

/// A value of a measure that was checked to be of this quantity when it was read.
fn value(measure: Measure, unit: Unit) -> f64 {
    measure.get(unit).expect("arguments are read as measures of their quantity")
}

fn pascals(measure: Measure) -> f64 {
    value(measure, Unit::Kpa) * 1e3
}

fn measure(value: f64, unit: Unit) -> Measure {
    Measure { value, unit }
}

/// A share as percent with its sign.
fn signed_percent(share: f64) -> String {
    let percent = to_figures(share.abs() * 100.0, 3);
    format!("{}{percent} %", if share < 0.0 { '-' } else { '+' })
}

fn opening(asked: &Opening, system: System) -> Sheet {
    let mut sheet = Sheet::new(
        "Opening pressure",
        "moments about the lever: pressure x seat area x needle arm = spring force x spring arm.",
    );
    let seat_mm = value(asked.seat, Unit::Millimeter);
    let newtons = asked.spring.map(|spring| value(spring, Unit::Newton));
    let arms = match (asked.measured, newtons) {
        (Some(measured), Some(spring)) => {
            let arms = inlet::arms_ratio(pascals(measured), spring, seat_mm);
            sheet.say("Ratio of arms", Some((arms, "")), to_figures(arms, 3));
            arms
        }
        _ => asked.arms.unwrap_or(USUAL_ARMS),
    };
    if asked.arms.is_none() && asked.measured.is_none() {
        sheet.notes.push(format!(
            "The arms are taken as {USUAL_ARMS}; 0.55 to 0.70 is common. Measure yours, or give --measured."
        ));
    }
    let pressure = |pa: f64| measure(pa / 1e3, Unit::Kpa);
    let opens = newtons.map(|spring| inlet::opening_pa(spring, arms, seat_mm));
    if let Some(pa) = opens.filter(|_| asked.measured.is_none()) {
        sheet.measured("Opens at", pressure(pa), system, 3);
    }
    if let (Some(other), Some(pa)) = (asked.other_seat, opens) {
        let factor = inlet::other_seat(seat_mm, value(other, Unit::Millimeter));
        let there = pressure(pa * factor);
        let says = format!("{}, {}", in_both(there, system, 3), signed_percent(factor - 1.0));
        sheet.say("With the other seat", Some((there.value, there.unit.symbol())), says);
    }
    if let Some(target) = asked.target {
        let newton = inlet::spring_n(pascals(target), arms, seat_mm);
        let grams = Unit::Newton.convert(newton, Unit::GramForce).unwrap_or(f64::NAN);
        sheet.measured("Spring for the target", measure(grams, Unit::GramForce), system, 3);
        if let Some(other) = asked.other_seat {
            let there = grams / inlet::other_seat(seat_mm, value(other, Unit::Millimeter));
            sheet.measured("With the other seat", measure(there, Unit::GramForce), system, 3);
        }
    }
    if sheet.figures.is_empty() {
        sheet.measured("Seat", asked.seat, JETS, 3);
        sheet.notes.push("Give --spring for the pressure, or --target for the spring.".to_owned());
    }
    sheet.notes.push("Friction and a wet ring scatter a pop by up to 2 psi: pop three times, seat wet.".to_owned());
    sheet
}

fn compression_sheet(asked: &Compression, system: System) -> Sheet {
    let mut sheet = Sheet::new(
        "Compression",
        "ISO 2533; held against an Army altitude table, by density within 1 %, by pressure within 6 % to 10,000 ft.",
    );
    let altitude_m = value(asked.altitude, Unit::Meter);
    // A gauge shows a ratio of pressures, which how warm the air is does not enter: its density is that of the height.
    let density = air::density_ratio(altitude_m, air::standard_c(altitude_m));
    let pressure = air::pressure_ratio(altitude_m);
    for reading in &asked.readings {
        let to = |value| measure(value, reading.unit);
        let by_pressure = compression::at_sea_level(reading.value, pressure);
        let by_density = compression::at_sea_level_by_density(reading.value, density);
        sheet.measured("Read", to(reading.value), system, 3);
        sheet.measured("  at sea level, by air pressure", to(by_pressure), system, 3);
        sheet.measured("  at sea level, by air density", to(by_density), system, 3);
    }
    let psi: Vec<f64> = asked.readings.iter().map(|reading| value(*reading, Unit::Psi)).collect();
    if psi.len() > 1 {
        let spread = compression::spread(&psi);
        sheet.percent("Lowest below highest", spread * 100.0, 3);
        if spread > 0.10 {
            sheet.notes.push("More than 10 % between cylinders: look for the reason.".to_owned());
        }
    }
    sheet.notes.push("The craft's own figure decides; without one only the spread says much.".to_owned());
    sheet
}

fn leak_sheet(asked: &Leak, system: System) -> Sheet {
    let mut sheet = Sheet::new("Leak", "ideal gas at one temperature: volume x fall of pressure / air pressure.");
    let ml = value(asked.volume, Unit::Milliliter);
    let pa_per_min = value(asked.loss, Unit::KpaPerMin) * 1e3;
    let lost = leak::free_air_ml_per_min(ml, pa_per_min);
    sheet.measured("Falls by", asked.loss, system, 3);
    sheet.measured("Free air lost", measure(lost, Unit::MlPerMin), system, 3);
    let share = lost / ml * 100.0;
    sheet.say("Of the trapped volume", Some((share, "%/min")), format!("{} % a minute", to_figures(share, 3)));
    if asked.at.is_some_and(|at| value(at, Unit::Psi) > CASE_LIMIT_PSI) {
        sheet.notes.push(format!(
            "Above {CASE_LIMIT_PSI} psi crank seals lift or tear: never more unless the craft's own sheet allows it."
        ));
    }
    sheet.notes.push("The same fall is a larger leak on a larger crankcase.".to_owned());
    sheet
}

fn battery(asked: &Battery, system: System) -> Sheet {
    let mut sheet = Sheet::new(
        "Battery",
        "Battery Council International, flooded, rested, 27 °C; load figures of three vehicle manuals that agree.",
    );
    if let Some(rest) = asked.rest {
        let volts = value(rest, Unit::Volt);
        sheet.given("At rest", rest, 4);
        sheet.percent("Charge", electrics::charge_percent(volts), 2);
        sheet.notes.push("A meter that is 1 % off is 15 % of charge off. AGM and gel read otherwise.".to_owned());
        if volts > 12.8 {
            sheet.notes.push("Above 12.8 V it has not rested: take the surface charge off first.".to_owned());
        }
    }
    if let Some(battery) = asked.battery {
        sheet.measured("Battery at", battery, system, 3);
        match electrics::least_loaded_v(value(battery, Unit::Celsius)) {
            Some(least) => {
                let says = format!("{} V, 15 s at half its cold-cranking amperes", to_figures(least, 3));
                sheet.say("Must hold", Some((least, Unit::Volt.symbol())), says);
                if let Some(loaded) = asked.loaded {
                    let holds = value(loaded, Unit::Volt) >= least;
                    let verdict = if holds { "holds" } else { "fails: charge it, then test again" };
                    let says = format!("{}: {verdict}", as_given(loaded, 3));
                    sheet.say("Under load", Some((loaded.value, loaded.unit.symbol())), says);
                }
            }
            None => sheet.notes.push("Colder than -18 °C no figure is published here: warm it up first.".to_owned()),
        }
    }
    sheet
}

fn jet(asked: &Jet) -> Sheet {
    let mut sheet =
        Sheet::new("Jet", "flow as the area; fuel as the root of the air's density, air as the density (ISO 2533).");
    let from = value(asked.from, Unit::Millimeter);
    sheet.measured("Jet", asked.from, JETS, 4);
    if let Some(to) = asked.to {
        let change = mixture::flow_ratio(from, value(to, Unit::Millimeter)) - 1.0;
        let says = format!("{}, {}", in_both(to, JETS, 4), signed_percent(change));
        sheet.say("Flow of the other", Some((change * 100.0, "%")), says);
    }
    if let Some(altitude) = asked.altitude {
        let (was_m, is_m) = (value(asked.right_at, Unit::Meter), value(altitude, Unit::Meter));
        let air_c = asked.air.map_or_else(|| air::standard_c(is_m), |air| value(air, Unit::Celsius));
        let density = air::density_ratio(is_m, air_c) / air::density_ratio(was_m, air::standard_c(was_m));
        let richness = mixture::richness(density) - 1.0;
        sheet.factor("Air density", density);
        let word = if richness < 0.0 { "leaner" } else { "richer" };
        let says = format!("{} % {word}", to_figures(richness.abs() * 100.0, 3));
        sheet.say("Same jet runs", Some((richness * 100.0, "%")), says);
        sheet.factor("Area to match", mixture::jet_area(density));
        let size = measure(from * mixture::jet_diameter(density), Unit::Millimeter);
        sheet.measured("Diameter to match", size, JETS, 3);
        if richness < -0.03 {
            sheet.notes.push("Leaner scores pistons: go up in jet BEFORE it runs there.".to_owned());
        }
    }
    sheet.notes.push("Only where the number on a jet is a diameter; some numbers are flows.".to_owned());
    sheet
}

fn oil(asked: &Oil, system: System) -> Sheet {
    let mut sheet = Sheet::new("Oil in gasoline", "the definition of a ratio by volume.");
    let ml = value(asked.fuel, Unit::Milliliter);
    let small = |ml: f64| measure(ml, Unit::Milliliter);
    let large = |ml: f64| measure(ml / 1e3, Unit::Liter);
    sheet.measured("Gasoline", large(ml), system, 3);
    sheet.say("Ratio", Some((asked.ratio, ":1")), format!("{}:1", to_figures(asked.ratio, 4)));
    sheet.measured("Oil in all", small(fuel::oil_for(ml, asked.ratio)), system, 4);
    if let Some(now) = asked.now {
        match fuel::to_another_ratio(ml, now, asked.ratio) {
            fuel::Correction::AddOil(add) => sheet.measured("Add oil", small(add), system, 4),
            fuel::Correction::AddGasoline(add) => sheet.measured("Add gasoline without oil", large(add), system, 3),
        }
    }
    sheet.notes.push("More oil is less gasoline through the same jet: a leaner mixture, not a richer one.".to_owned());
    sheet
}

fn vapor(asked: &Vapor, system: System) -> Sheet {
    let mut sheet = Sheet::new(
        "Gasoline vapor",
        "ideal gas; lower limit 1.4 % by volume (NIOSH), vapor 66 g/mol (EPA AP-42, from memory), 0.67 g/mL (estimate).",
    );
    let liters = value(asked.space, Unit::Liter);
    let ml = fuel::explosive_ml(liters, value(asked.air, Unit::Celsius));
    let spoons = Unit::Milliliter.convert(ml, Unit::Teaspoon).unwrap_or(f64::NAN);
    sheet.measured("Space", measure(liters, Unit::Liter), system, 3);
    sheet.measured("Air", asked.air, system, 3);
    let both = in_both(measure(ml, Unit::Milliliter), system, 2);
    let says = format!("{both}, {} teaspoons", to_figures(spoons, 2));
    sheet.say("Explosive from", Some((ml, Unit::Milliliter.symbol())), says);
    sheet.notes.push(
        "Evenly mixed. Vapor lies low and is not: a corner explodes from less. Any smell of fuel means stop and air it."
            .to_owned(),
    );
    sheet
}

fn turns(asked: &Turns) -> Result<Sheet, Failure> {
    let mut sheet =
        Sheet::new("Mixture screw", "common practice, no published source: an eighth of a turn is about 4 %.");
    let turns = value(asked.turns, Unit::Turn);
    let turned = |turns: f64| Some((mixture::nearest_eighth(turns), Unit::Turn.symbol()));
    sheet.say("Turns out", turned(turns), eighths(turns));
    let mut set = turns;
    if let Some(richer) = asked.richer {
        set = mixture::nearest_eighth(turns + mixture::turns_for(richer));
        if !mixture::WITHIN_A_SCREW.contains(&set) {
            return Err(Failure::Usage("Too far for a screw: look at jet, leak or opening pressure.".to_owned()));
        }
        sheet.say("Set to", turned(set), eighths(set));
        let change = (set - turns) * 8.0 * mixture::PER_EIGHTH;
        sheet.say("Is a change of", Some((change * 100.0, "%")), signed_percent(change));
        if richer < 0.0 {
            sheet.notes.push("Leaner scores pistons: only by the plug, an eighth at a time.".to_owned());
        }
    }
    sheet.say("First start, 1/4 richer", turned(set + 0.25), eighths(set + 0.25));
    sheet
        .notes
        .push("Count from a LIGHT seat, two fingers. Turns are differences: a worn tip shifts the zero.".to_owned());
    Ok(sheet)
}

/// "1 3/8 turns": to the nearest eighth.
fn eighths(turns: f64) -> String {
    let nearest = mixture::nearest_eighth(turns);
    let whole = libm::floor(nearest);
    let fraction = match libm::round((nearest - whole) * 8.0) {
        f if f < 0.5 => "",
        f if f < 1.5 => "1/8",
        f if f < 2.5 => "1/4",
        f if f < 3.5 => "3/8",
        f if f < 4.5 => "1/2",
        f if f < 5.5 => "5/8",
        f if f < 6.5 => "3/4",
        _ => "7/8",
    };
    match (whole > 0.0, fraction) {
        (_, "") => format!("{} turns", to_figures(whole, 3)),
        (true, part) => format!("{} {part} turns", to_figures(whole, 3)),
        (false, part) => format!("{part} turn"),
    }
}

fn convert(asked: &Convert) -> Result<Sheet, Failure> {
    let mut sheet =
        Sheet::new("Units", "NIST SP 811, appendix B, and the exact definitions of inch, pound and gallon.");
    sheet.given("Given", asked.value, 8);
    let quantity = asked.value.unit.quantity();
    let units: Vec<Unit> = match asked.to {
        Some(unit) if unit.quantity() != quantity => {
            let expected = quantity.unit_list();
            return Err(Failure::Usage(format!(
                "expected a unit of {quantity} ({expected}), found `{}`",
                unit.symbol()
            )));
        }
        Some(unit) => vec![unit],
        None => quantity.units().filter(|unit| *unit != asked.value.unit).collect(),
    };
    for unit in units {
        let number = asked.value.get(unit).ok_or_else(|| {
            Failure::Usage(format!("expected less than 1e15 {}, found `{}`", unit.symbol(), asked.value))
        })?;
        sheet.given("is", measure(number, unit), 6);
    }
    Ok(sheet)
}
