//! Values as people type them: what is wrong is told with what would be right.

use scatter::units::Length;

/// A whole number from `LEAST` to `MOST`.
pub(super) fn whole<const LEAST: u32, const MOST: u32>(text: &str) -> Result<u32, String> {
    let number = text.trim().parse().ok();
    let number = number.filter(|n| (LEAST..=MOST).contains(n));
    number.ok_or_else(|| format!("a whole number from {LEAST} to {MOST}"))
}

/// Pixels, from `LEAST` to `MOST`; `px` may stand behind the number.
pub(super) fn pixels<const LEAST: u32, const MOST: u32>(text: &str) -> Result<u32, String> {
    let number = text.trim().trim_end_matches("px").trim_end();
    whole::<LEAST, MOST>(number)
        .map_err(|_| format!("a whole number of pixels from {LEAST} to {MOST}"))
}

/// A take.
pub(super) fn take(text: &str) -> Result<u64, String> {
    let number = text.trim().parse();
    number.map_err(|_| format!("a whole number from 0 to {}", u64::MAX))
}

/// A length, metres: a plain number of metres, or with its unit.
pub(super) fn metres(text: &str) -> Result<f64, String> {
    let plain: Option<f64> = text.trim().parse().ok();
    match plain {
        Some(metres) if metres.is_finite() => Ok(metres),
        _ => Length::parse(text).map(Length::metres).map_err(|_| {
            "a number of metres, or a length such as \"80 cm\" or \"10 m\"".to_owned()
        }),
    }
}

/// Hour of a clock that a day begins and ends with.
const DAY_HOURS: [f64; 2] = [0.0, 24.0];

/// An hour of a clock.
pub(super) fn hour(text: &str) -> Result<f64, String> {
    let [first, last] = DAY_HOURS;
    let hour = text.trim().parse().ok();
    let hour = hour.filter(|h| (first..=last).contains(h));
    hour.ok_or_else(|| format!("an hour from {first} to {last}, such as 9 or 16.5"))
}
