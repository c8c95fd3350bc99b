//! Dates as ISO 8601 has them.

/// Whether `text` is a calendar date (`2026-06-03`, `20260603`, `2026-06`), with or without a time
/// (`T09:00`, `T09:00:00.5`, `T090000`), with or without a zone (`Z`, `+02:00`, `+02`).
pub(crate) fn is_iso_8601(text: &str) -> bool {
    let (date, time) = match text.split_once('T') {
        Some((date, time)) => (date, Some(time)),
        None => (text, None),
    };
    is_date(date) && time.is_none_or(is_time)
}

/// The digits of `text` as a number, where it has exactly `count` digits and nothing else.
fn digits(text: &str, count: usize) -> Option<u32> {
    (text.len() == count && text.bytes().all(|b| b.is_ascii_digit()))
        .then(|| text.parse().ok())
        .flatten()
}

fn is_date(date: &str) -> bool {
    let parts: Vec<&str> = date.split('-').collect();
    match parts.as_slice() {
        [whole] => whole.len() == 8 && is_day(whole.get(..4), whole.get(4..6), whole.get(6..)),
        [year, month] => is_day(Some(year), Some(month), Some("01")),
        [year, month, day] => is_day(Some(year), Some(month), Some(day)),
        _ => false,
    }
}

fn is_day(year: Option<&str>, month: Option<&str>, day: Option<&str>) -> bool {
    let number = |text: Option<&str>, count| text.and_then(|t| digits(t, count));
    let (Some(year), Some(month), Some(day)) = (number(year, 4), number(month, 2), number(day, 2))
    else {
        return false;
    };
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return false,
    };
    (1..=days).contains(&day)
}

fn is_time(time: &str) -> bool {
    let (clock, zone) = match time.find(['Z', '+', '-']) {
        Some(at) => time.split_at(at),
        None => (time, ""),
    };
    let (whole, fraction) = clock.split_once(['.', ',']).unwrap_or((clock, "0"));
    let fraction_fine = !fraction.is_empty() && fraction.bytes().all(|b| b.is_ascii_digit());
    is_clock(whole)
        && fraction_fine
        && (zone.is_empty() || zone == "Z" || zone.get(1..).is_some_and(is_clock))
}

/// Hours, and where given minutes and seconds, with or without colons.
fn is_clock(clock: &str) -> bool {
    let plain: String = clock.split(':').collect();
    if clock.contains(':') && clock.split(':').any(|part| part.len() != 2) {
        return false;
    }
    let limits = [24, 59, 60];
    let pairs = plain.len() / 2;
    plain.len().is_multiple_of(2)
        && (1..=3).contains(&pairs)
        && limits.iter().take(pairs).enumerate().all(|(at, most)| {
            plain
                .get(2 * at..2 * at + 2)
                .and_then(|p| digits(p, 2))
                .is_some_and(|n| n <= *most)
        })
}

#[cfg(test)]
mod tests {
    use super::is_iso_8601;

    #[test]
    fn dates_of_the_standard_pass() {
        for good in [
            "2026-06-03",
            "20260603",
            "2026-06",
            "2024-02-29",
            "2026-06-03T09:00:00Z",
            "2026-06-03T09:00",
            "2026-06-03T09",
            "20260603T090000Z",
            "2026-06-03T09:00:00.125+02:00",
            "2026-06-03T09:00:00-0730",
        ] {
            assert!(is_iso_8601(good), "{good}");
        }
    }

    #[test]
    fn other_dates_do_not() {
        for bad in [
            "",
            "03.06.2026",
            "2026/06/03",
            "2026-13-01",
            "2026-02-30",
            "2025-02-29",
            "2026-6-3",
            "2026-06-03 09:00",
            "2026-06-03T",
            "2026-06-03T25:00",
            "2026-06-03T09:0",
            "2026-06-03T09:00:00.",
            "2026-06-03T09:00Zulu",
            "June",
        ] {
            assert!(!is_iso_8601(bad), "{bad}");
        }
    }
}
