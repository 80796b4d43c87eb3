//! The ranges that `--table` prints.

use super::{JETS, USUAL_ARMS, measure, pascals, value};
use crate::calc::{air, compression, electrics, fuel, inlet, leak, mixture};
use crate::cli::args::calc::Subject;
use crate::report::figures::{in_both, to_figures};
use crate::report::{Column, Table};
use crate::units::{System, Unit};

/// Heights in meters.
const HEIGHTS: [f64; 7] = [0.0, 500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0];
/// Springs in grams.
const SPRINGS: [f64; 4] = [65.0, 80.0, 95.0, 115.0];
/// Seats in millimeters.
const SEATS: [f64; 7] = [1.2, 1.5, 1.8, 2.0, 2.3, 2.5, 2.8];

/// The range for a subject; `None` where there is nothing to range over.
pub(super) fn table(subject: &Subject, system: System) -> Option<Table> {
    match subject {
        Subject::Opening(asked) => {
            let spring = asked.spring.map(|spring| value(spring, Unit::Newton));
            let seat_mm = value(asked.seat, Unit::Millimeter);
            let measured =
                asked.measured.zip(spring).map(|(pa, spring)| inlet::arms_ratio(pascals(pa), spring, seat_mm));
            Some(springs(measured.or(asked.arms).unwrap_or(USUAL_ARMS), system))
        }
        Subject::Compression(asked) => {
            let reading = asked.readings.first()?;
            let sea = compression::at_sea_level(reading.value, air::pressure_ratio(value(asked.altitude, Unit::Meter)));
            let row = |m: f64| {
                let there = measure(sea * air::pressure_ratio(m), reading.unit);
                vec![height(m, system), in_both(there, system, 3)]
            };
            Some(plain(&["Height", "The first would read"], HEIGHTS.into_iter().map(row)))
        }
        Subject::Leak(asked) => {
            let ml = value(asked.volume, Unit::Milliliter);
            let row = |psi: f64| {
                let lost = leak::free_air_ml_per_min(ml, psi * 6_894.757_293);
                let rate = in_both(measure(psi, Unit::PsiPerMin), system, 3);
                vec![rate, in_both(measure(lost, Unit::MlPerMin), system, 3)]
            };
            Some(plain(&["Falls by", "Free air lost"], [0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0].into_iter().map(row)))
        }
        Subject::Battery(asked) if asked.battery.is_some() => {
            let row = |(c, v): (f64, f64)| vec![in_both(measure(c, Unit::Celsius), system, 3), format!("{v} V")];
            Some(plain(&["Battery at", "Must hold"], electrics::LOADED.into_iter().map(row)))
        }
        Subject::Battery(_) => {
            let row = |(v, percent): (f64, f64)| vec![format!("{v} V"), format!("{percent} %")];
            Some(plain(&["At rest", "Charge"], electrics::REST.into_iter().rev().map(row)))
        }
        Subject::Jet(asked) => Some(jets(value(asked.from, Unit::Millimeter), system)),
        Subject::Oil(asked) => {
            let ml = value(asked.fuel, Unit::Milliliter);
            let row = |ratio: f64| {
                let oil = measure(fuel::oil_for(ml, ratio), Unit::Milliliter);
                vec![format!("{ratio}:1"), in_both(oil, system, 3)]
            };
            Some(plain(&["Ratio", "Oil"], [16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 100.0].into_iter().map(row)))
        }
        Subject::Vapor(asked) => {
            let air_c = value(asked.air, Unit::Celsius);
            let row = |liters: f64| {
                let ml = measure(fuel::explosive_ml(liters, air_c), Unit::Milliliter);
                vec![in_both(measure(liters, Unit::Liter), system, 3), in_both(ml, system, 2)]
            };
            Some(plain(&["Space", "Explosive from"], [25.0, 50.0, 100.0, 200.0, 400.0, 800.0].into_iter().map(row)))
        }
        Subject::Turns(asked) => {
            let turns = value(asked.turns, Unit::Turn);
            let row = |percent: f64| {
                let to = mixture::nearest_eighth(turns + mixture::turns_for(percent / 100.0));
                let within = mixture::WITHIN_A_SCREW.contains(&to);
                vec![format!("{percent} %"), if within { super::eighths(to) } else { "too far for a screw".to_owned() }]
            };
            Some(plain(&["Richer by", "Set to"], [-12.0, -8.0, -4.0, 0.0, 4.0, 8.0, 12.0].into_iter().map(row)))
        }
        Subject::Convert(_) => None,
    }
}

fn height(m: f64, system: System) -> String {
    in_both(measure(m, Unit::Meter), system, 4)
}

fn plain(titles: &[&str], rows: impl Iterator<Item = Vec<String>>) -> Table {
    let columns = titles.iter().map(|title| Column::figures(title)).collect();
    Table { columns, rows: rows.map(|row| row.into_iter().map(Into::into).collect()).collect(), total: None }
}

/// Opening pressure by seat and spring, in the pressure unit of the system alone: both would not fit a narrow screen.
fn springs(arms: f64, system: System) -> Table {
    let unit = Unit::Psi.in_system(system);
    let mut columns = vec![Column::figures(&format!("Seat, {}", unit.symbol()))];
    columns.extend(SPRINGS.map(|grams| Column::figures(&format!("{grams} g"))));
    let cell = |grams: f64, seat: f64| {
        let newton = Unit::GramForce.convert(grams, Unit::Newton).unwrap_or(f64::NAN);
        let kpa = inlet::opening_pa(newton, arms, seat) / 1e3;
        to_figures(Unit::Kpa.convert(kpa, unit).unwrap_or(kpa), 3)
    };
    let row = |seat: f64| {
        let cells = SPRINGS.map(|grams| cell(grams, seat).into());
        std::iter::once(format!("{seat} mm").into()).chain(cells).collect()
    };
    Table { columns, rows: SEATS.into_iter().map(row).collect(), total: None }
}

fn jets(from_mm: f64, system: System) -> Table {
    let row = |m: f64| {
        let density = air::density_ratio(m, air::standard_c(m));
        let size = measure(from_mm * mixture::jet_diameter(density), Unit::Millimeter);
        let rich = (mixture::richness(density) - 1.0) * 100.0;
        vec![height(m, system), format!("{} %", to_figures(rich, 3)), in_both(size, JETS, 3)]
    };
    plain(&["Height", "Same jet richer by", "Jet for the same"], HEIGHTS.into_iter().map(row))
}
