//! The arguments of `doldrum calc`: numbers with their units, each within what makes sense.

use super::Format;
use crate::units::{Measure, Quantity, Unit};
use clap::{Args, Subcommand};

/// `calc`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum calc opening --seat 2.0mm --spring 95g --arms 0.60
  doldrum calc compression 112psi --altitude 1500m
  doldrum calc oil --fuel 5L --ratio 40
  doldrum calc convert 590kPa

Numbers carry their unit. Results are in both systems, that of --units first.")]
pub struct Calc {
    /// What to work out.
    #[command(subcommand)]
    pub subject: Subject,
    /// Print a range of values.
    #[arg(long, global = true)]
    pub table: bool,
    /// How to print it.
    #[arg(long, global = true, value_enum, value_name = "FORMAT", default_value = "text")]
    pub format: Format,
}

/// What to work out.
#[derive(Debug, Subcommand)]
pub enum Subject {
    /// Opening (pop-off) pressure of the inlet needle, its spring and its seat.
    Opening(Opening),
    /// Compression readings as at sea level, and their spread.
    Compression(Compression),
    /// What a fall of pressure is as a leak.
    Leak(Leak),
    /// Charge of a rested battery; the volts it must hold under load.
    Battery(Battery),
    /// Jets: flow of another size, and the size for another height and temperature.
    Jet(Jet),
    /// Oil for premix, and what brings a wrong mix right.
    Oil(Oil),
    /// How little gasoline makes a closed space explosive.
    Vapor(Vapor),
    /// Mixture screws: turns out, to the eighth.
    Turns(Turns),
    /// A value in other units.
    Convert(Convert),
}

/// `calc opening`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum calc opening --seat 2.0mm --spring 95g --arms 0.60     the pressure of this spring
  doldrum calc opening --seat 2.0mm --spring 80g --measured 24psi --target 28psi
                                                   the arms from a measurement, then the spring")]
pub struct Opening {
    /// Diameter of the needle seat.
    #[arg(long, value_name = "LENGTH", value_parser = seat, allow_hyphen_values = true)]
    pub seat: Measure,
    /// Force of the spring at its installed height.
    #[arg(long, value_name = "FORCE", value_parser = spring, allow_hyphen_values = true)]
    pub spring: Option<Measure>,
    /// Spring arm over needle arm of the lever [default: 0.60, the middle of what is common].
    #[arg(long, value_name = "RATIO", value_parser = arms, conflicts_with = "measured")]
    pub arms: Option<f64>,
    /// The pressure measured with this spring and seat; gives the ratio of the arms.
    #[arg(long, value_name = "PRESSURE", value_parser = opening, requires = "spring", allow_hyphen_values = true)]
    pub measured: Option<Measure>,
    /// The pressure wanted: prints the spring for it.
    #[arg(long, value_name = "PRESSURE", value_parser = opening, allow_hyphen_values = true)]
    pub target: Option<Measure>,
    /// Another seat, to see what it changes.
    #[arg(long, value_name = "LENGTH", value_parser = seat, allow_hyphen_values = true)]
    pub other_seat: Option<Measure>,
}

/// `calc compression`.
#[derive(Args, Debug)]
pub struct Compression {
    /// The readings, one for each cylinder.
    #[arg(required = true, value_name = "PRESSURE", value_parser = compression)]
    pub readings: Vec<Measure>,
    /// Height above the sea.
    #[arg(long, value_name = "LENGTH", default_value = "0m", value_parser = altitude, allow_hyphen_values = true)]
    pub altitude: Measure,
}

/// `calc leak`.
#[derive(Args, Debug)]
pub struct Leak {
    /// The trapped volume.
    #[arg(long, value_name = "VOLUME", value_parser = trapped, allow_hyphen_values = true)]
    pub volume: Measure,
    /// How fast the pressure falls, such as 1psi/min.
    #[arg(long, value_name = "RATE", value_parser = loss, allow_hyphen_values = true)]
    pub loss: Measure,
    /// The pressure of the test.
    #[arg(long, value_name = "PRESSURE", value_parser = test_pressure, allow_hyphen_values = true)]
    pub at: Option<Measure>,
}

/// `calc battery`.
#[derive(Args, Debug)]
pub struct Battery {
    /// Volts after hours of rest.
    #[arg(long, value_name = "VOLTAGE", value_parser = volts, required_unless_present_any = ["battery", "table"])]
    pub rest: Option<Measure>,
    /// Temperature of the battery: the least volts under load.
    #[arg(long = "temperature", value_name = "TEMPERATURE", value_parser = air, allow_hyphen_values = true)]
    pub battery: Option<Measure>,
    /// Volts measured while cranking or under load, to compare.
    #[arg(long, value_name = "VOLTAGE", value_parser = volts, requires = "battery", allow_hyphen_values = true)]
    pub loaded: Option<Measure>,
}

/// `calc jet`.
#[derive(Args, Debug)]
pub struct Jet {
    /// Diameter of the jet that is right, or fitted.
    #[arg(long, value_name = "LENGTH", value_parser = jet, allow_hyphen_values = true)]
    pub from: Measure,
    /// Another jet, to compare.
    #[arg(long, value_name = "LENGTH", value_parser = jet, allow_hyphen_values = true)]
    pub to: Option<Measure>,
    /// Height at which the first jet was right.
    #[arg(long, value_name = "LENGTH", default_value = "0m", value_parser = altitude, allow_hyphen_values = true)]
    pub right_at: Measure,
    /// Height at which it is to run.
    #[arg(long, value_name = "LENGTH", value_parser = altitude, allow_hyphen_values = true)]
    pub altitude: Option<Measure>,
    /// Temperature of the air there [default: that of the standard atmosphere].
    #[arg(long, value_name = "TEMPERATURE", value_parser = air, requires = "altitude", allow_hyphen_values = true)]
    pub air: Option<Measure>,
}

/// `calc oil`.
#[derive(Args, Debug)]
pub struct Oil {
    /// Gasoline, without its oil.
    #[arg(long, value_name = "VOLUME", value_parser = gasoline, allow_hyphen_values = true)]
    pub fuel: Measure,
    /// Gasoline to oil: 50 is 50:1.
    #[arg(long, value_name = "RATIO", value_parser = oil_ratio)]
    pub ratio: f64,
    /// The ratio that is in it now; prints what to add.
    #[arg(long, value_name = "RATIO", value_parser = oil_ratio)]
    pub now: Option<f64>,
}

/// `calc vapor`.
#[derive(Args, Debug)]
pub struct Vapor {
    /// Free volume of the space.
    #[arg(long, value_name = "VOLUME", value_parser = space, allow_hyphen_values = true)]
    pub space: Measure,
    /// Temperature of the air.
    #[arg(long, value_name = "TEMPERATURE", default_value = "20C", value_parser = air, allow_hyphen_values = true)]
    pub air: Measure,
}

/// `calc turns`.
#[derive(Args, Debug)]
pub struct Turns {
    /// Turns out from a light seat, such as "1 3/8".
    #[arg(value_name = "TURNS", value_parser = turns)]
    pub turns: Measure,
    /// How much richer it is to be, in percent; negative is leaner.
    #[arg(long, value_name = "PERCENT", value_parser = richer, allow_hyphen_values = true)]
    pub richer: Option<f64>,
}

/// `calc convert`.
#[derive(Args, Debug)]
pub struct Convert {
    /// The value with its unit.
    #[arg(value_name = "MEASURE", value_parser = any, allow_hyphen_values = true)]
    pub value: Measure,
    /// The unit wanted [default: every unit of that quantity].
    #[arg(long, value_name = "UNIT", value_parser = unit)]
    pub to: Option<Unit>,
}

/// A measure of a quantity, from least to most.
fn within(text: &str, quantity: Quantity, (least, most, unit): (f64, f64, Unit)) -> Result<Measure, String> {
    let measure = Measure::parse_as(text, quantity).map_err(|error| error.to_string())?;
    let value = measure.get(unit).unwrap_or(f64::NAN);
    if (least..=most).contains(&value) {
        Ok(measure)
    } else {
        let symbol = unit.symbol();
        Err(format!("expected {least} {symbol} to {most} {symbol}, found `{text}`"))
    }
}

fn plain(text: &str, what: &str, least: f64, most: f64) -> Result<f64, String> {
    let number = text.trim().trim_end_matches(":1").trim_end_matches('%');
    let value: f64 = number.trim().parse().map_err(|_| format!("expected {what}, found `{text}`"))?;
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        Err(format!("expected {what} from {least} to {most}, found `{text}`"))
    }
}

fn seat(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Length, (0.5, 6.0, Unit::Millimeter))
}

fn spring(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Force, (5.0, 1000.0, Unit::GramForce))
}

fn arms(text: &str) -> Result<f64, String> {
    plain(text, "a ratio of lever arms", 0.1, 3.0)
}

fn opening(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Pressure, (1.0, 150.0, Unit::Psi))
}

fn compression(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Pressure, (0.0, 1000.0, Unit::Psi))
}

fn altitude(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Length, (-500.0, 6000.0, Unit::Meter))
}

fn air(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Temperature, (-60.0, 60.0, Unit::Celsius))
}

fn trapped(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Volume, (1.0, 10_000.0, Unit::Milliliter))
}

fn loss(text: &str) -> Result<Measure, String> {
    within(text, Quantity::PressureRate, (0.0, 1000.0, Unit::PsiPerMin))
}

fn test_pressure(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Pressure, (0.0, 100.0, Unit::Psi))
}

fn volts(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Voltage, (0.0, 20.0, Unit::Volt))
}

fn jet(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Length, (0.1, 6.0, Unit::Millimeter))
}

fn gasoline(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Volume, (0.001, 10_000.0, Unit::Liter))
}

fn oil_ratio(text: &str) -> Result<f64, String> {
    plain(text, "a ratio such as 50", 5.0, 1000.0)
}

fn space(text: &str) -> Result<Measure, String> {
    within(text, Quantity::Volume, (0.1, 1_000_000.0, Unit::Liter))
}

/// "1 3/8" or "1.375", with or without the word.
fn turns(text: &str) -> Result<Measure, String> {
    let bare = text.chars().all(|c| c.is_ascii_digit() || " ./".contains(c));
    let whole = if bare { format!("{text} turns") } else { text.to_owned() };
    within(&whole, Quantity::Turns, (0.0, 10.0, Unit::Turn))
}

fn richer(text: &str) -> Result<f64, String> {
    plain(text, "a share in percent", -50.0, 50.0).map(|percent| percent / 100.0)
}

fn any(text: &str) -> Result<Measure, String> {
    Measure::parse(text).map_err(|error| error.to_string())
}

fn unit(text: &str) -> Result<Unit, String> {
    Unit::parse(text).map_err(|error| error.to_string())
}
