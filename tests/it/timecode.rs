//! Timecode against the published table, an odometer, another implementation and itself, over whole days.

use std::collections::BTreeMap;

use std::fmt::Write;

use movewright::time::{FrameRate, Timecode, TimecodeError};
use proptest::prelude::*;

fn rate(text: &str) -> FrameRate {
    FrameRate::parse(text).unwrap()
}

/// One row, both ways.
fn check(rate_text: &str, count: u64, label: &str) {
    let rate = rate(rate_text);
    assert_eq!(Timecode::from_count(count, rate).to_string(), label, "{rate_text}");
    assert_eq!(Timecode::parse(label, rate).unwrap().count(), count, "{rate_text}");
}

/// Source: SMPTE ST 12-1, from memory; rows on which three open implementations agree (`timecode` 1.5.1, `dftt-timecode` 1.0.0 and
/// `smpte-timecode` 1.3.6).
#[test]
fn boundary_rows_of_drop_frame() {
    for (count, label) in [
        (0, "00:00:00;00"),
        (1799, "00:00:59;29"),
        (1800, "00:01:00;02"),
        (1801, "00:01:00;03"),
        (3597, "00:01:59;29"),
        (3598, "00:02:00;02"),
        (17_981, "00:09:59;29"),
        (17_982, "00:10:00;00"),
        (107_891, "00:59:59;29"),
        (107_892, "01:00:00;00"),
        (2_589_407, "23:59:59;29"),
    ] {
        check("29.97", count, label);
    }
    let drop = rate("29.97");
    assert_eq!(Timecode::from_count(2_589_408, drop).to_string(), "00:00:00;00");
    assert_eq!(Timecode::frames_per_day(drop), 2_589_408);
}

/// Source: derived from the rule for 29.97 with every number doubled: 4 labels a gap, 10 x 3600 - 9 x 4 = 35 964 frames in ten minutes.
#[test]
fn boundary_rows_of_59_94() {
    for (count, label) in [
        (0, "00:00:00;00"),
        (3599, "00:00:59;59"),
        (3600, "00:01:00;04"),
        (7195, "00:01:59;59"),
        (7196, "00:02:00;04"),
        (35_963, "00:09:59;59"),
        (35_964, "00:10:00;00"),
        (215_784, "01:00:00;00"),
        (5_178_815, "23:59:59;59"),
    ] {
        check("59.94", count, label);
    }
    assert_eq!(Timecode::frames_per_day(rate("59.94")), 5_178_816);
}

/// Source: common practice, 24000/1001 counts non-drop; 86 400 x 1001 / 24 000 = 18 018 / 5 s.
#[test]
fn an_hour_of_labels_at_23_98_lasts_longer_than_an_hour() {
    for text in ["23.976", "23.98", "24000/1001"] {
        assert!(!rate(text).is_drop_frame());
        check(text, 86_400, "01:00:00:00");
        check(text, 1440, "00:01:00:00");
        assert_eq!(rate(text).seconds(86_400), 3603.6);
        assert_eq!(Timecode::frames_per_day(rate(text)), 2_073_600);
    }
}

/// Source: documentation of the `vtc` library: 17:23:13:02 at 24000/1001 is frame 1 502 234, 751868117/12000 s.
#[test]
fn a_published_example_at_23_98() {
    check("23.98", 1_502_234, "17:23:13:02");
    // Both sides are the one correct rounding of the same fraction.
    assert_eq!(rate("23.98").seconds(1_502_234), 751_868_117.0 / 12_000.0);
}

/// Derived: 2 589 408 x 1001 / 30 000 = 86 399.9136 s, a correct rounding of the decimal.
#[test]
fn a_day_of_drop_frame_labels_is_86_4_ms_short() {
    assert_eq!(rate("29.97").seconds(2_589_408), 86_399.913_6);
    assert_eq!(rate("59.94").seconds(5_178_816), 86_399.913_6);
    assert_eq!(rate("30000/1001").seconds(2_592_000), 86_486.4);
}

/// Slow and obvious: carry by carry, stepping over the labels that are left out.
struct Odometer {
    digits: [u64; 4],
    nominal: u64,
    dropped: u64,
}

impl Odometer {
    fn step(&mut self) {
        let [hour, minute, second, frame] = &mut self.digits;
        *frame += 1;
        if *frame < self.nominal {
            return;
        }
        (*frame, *second) = (0, *second + 1);
        if *second < 60 {
            return;
        }
        (*second, *minute) = (0, *minute + 1);
        if *minute == 60 {
            (*minute, *hour) = (0, *hour + 1);
        }
        if *hour == 24 {
            *hour = 0;
        }
        if *minute % 10 != 0 {
            *frame = self.dropped;
        }
    }

    fn write(&self, separator: char, text: &mut String) {
        let [hour, minute, second, frame] = self.digits;
        for (number, end) in [(hour, ':'), (minute, ':'), (second, separator), (frame, ' ')] {
            for digit in [number / 10, number % 10] {
                text.push(char::from(b'0' + u8::try_from(digit).unwrap()));
            }
            text.push(end);
        }
        text.pop();
    }
}

/// Every frame of the first `hours`, to its label and back.
fn sweep(rate_text: &str, separator: char, dropped: u64, hours: u64, frames: u64) {
    let rate = rate(rate_text);
    let mut odometer = Odometer { digits: [0; 4], nominal: u64::from(rate.nominal()), dropped };
    let (mut ours, mut expected) = (String::new(), String::new());
    for count in 0..frames {
        ours.clear();
        expected.clear();
        write!(ours, "{}", Timecode::from_count(count, rate)).unwrap();
        odometer.write(separator, &mut expected);
        assert_eq!(ours, expected, "frame {count}");
        assert_eq!(Timecode::parse(&expected, rate).unwrap().count(), count, "{expected}");
        odometer.step();
    }
    assert_eq!(odometer.digits, [hours % 24, 0, 0, 0], "the hours must be full");
}

#[test]
fn every_frame_of_a_drop_frame_day_has_its_label() {
    sweep("29.97", ';', 2, 24, 2_589_408);
}

/// An hour is 6 x 35 964 frames, so every hour of the day is the same but for its number.
#[test]
fn every_frame_of_two_hours_at_59_94_has_its_label() {
    sweep("59.94", ';', 4, 2, 2 * 215_784);
}

#[test]
fn every_frame_of_two_film_hours_has_its_label() {
    sweep("23.976", ':', 0, 2, 2 * 86_400);
}

/// Golden: the Python package `timecode` 1.5.1, an independent implementation; `fixtures/timecode/make_goldens.py` wrote a hash for every hour.
/// The day is one run of counts, so a label in a wrong hour fails two of them.
#[test]
fn every_frame_of_a_day_has_the_label_that_another_implementation_gives_it() {
    let mut count: BTreeMap<&str, u64> = BTreeMap::new();
    let mut hours = 0;
    for row in include_str!("../../fixtures/timecode/labels.csv").lines().skip(1) {
        let [rate_text, hour, frames, expected] = row.split(',').collect::<Vec<_>>()[..] else { panic!("{row}") };
        let frame_rate = rate(rate_text);
        let first = count.entry(rate_text).or_default();
        let end = *first + frames.parse::<u64>().unwrap();
        let mut labels = String::new();
        for frame in *first..end {
            write!(labels, "{}", Timecode::from_count(frame, frame_rate)).unwrap();
            labels.push('\n');
        }
        assert_eq!(blake3::hash(labels.as_bytes()).to_hex().as_str(), expected, "{rate_text}, hour {hour}: frames {first} to {end}");
        *first = end;
        hours += 1;
    }
    assert_eq!(hours, 4 * 24);
    for (rate_text, frames) in count {
        assert_eq!(frames, Timecode::frames_per_day(rate(rate_text)), "{rate_text}");
    }
}

/// All 24 x 54 gaps of a day, both separators, and the label after each gap.
#[test]
fn every_label_that_is_left_out_is_refused() {
    for (rate_text, dropped) in [("29.97", 2), ("59.94", 4)] {
        let rate = rate(rate_text);
        let mut refused = 0;
        for minutes in 0..24 * 60 {
            let (hour, minute) = (minutes / 60, minutes % 60);
            for separator in [';', ':'] {
                for frame in 0..=dropped {
                    let label = format!("{hour:02}:{minute:02}:00{separator}{frame:02}");
                    match Timecode::parse(&label, rate) {
                        Ok(timecode) => {
                            assert_eq!(timecode.to_string(), format!("{hour:02}:{minute:02}:00;{frame:02}"));
                        }
                        Err(TimecodeError::Dropped { next, .. }) => {
                            assert_eq!(next.to_string(), format!("{hour:02}:{minute:02}:00;{dropped:02}"));
                            refused += 1;
                        }
                        Err(other) => panic!("{label}: {other}"),
                    }
                }
            }
        }
        assert_eq!(refused, 24 * 54 * 2 * dropped, "{rate_text}");
    }
}

/// Common practice, no source: both separators are met before the frame; the colon is read, the semicolon is written.
#[test]
fn drop_frame_reads_both_separators() {
    let drop = rate("29.97");
    assert_eq!(Timecode::parse("10:00:00:15", drop), Timecode::parse("10:00:00;15", drop));
    assert_eq!(Timecode::parse("10:00:00:15", drop).unwrap().to_string(), "10:00:00;15");
    assert!(Timecode::parse("10:00:00;15", rate("30")).is_err());
    assert!(Timecode::parse("10:00:00;15", rate("30000/1001")).is_err());
    // The same label names another frame when no label is left out.
    assert_ne!(Timecode::parse("10:00:00:15", drop).unwrap().count(), Timecode::parse("10:00:00:15", rate("30000/1001")).unwrap().count());
}

fn any_rate() -> impl Strategy<Value = FrameRate> {
    prop_oneof![
        Just(rate("29.97")),
        Just(rate("59.94")),
        (1_u32..=1000).prop_map(|whole| FrameRate::new(whole, 1).unwrap()),
        (1_u32..=u32::MAX, 1_u32..=u32::MAX).prop_filter_map("over 1000 frames a second", |(a, b)| FrameRate::new(a, b).ok()),
        (0_u32..=999, 1_u32..=999_999).prop_map(|(units, millionths)| rate(&format!("{units}.{millionths:06}"))),
    ]
}

proptest! {
    #[test]
    fn any_count_goes_to_its_label_and_back(rate in any_rate(), count in any::<u64>()) {
        let timecode = Timecode::from_count(count, rate);
        prop_assert_eq!(timecode.count(), count % Timecode::frames_per_day(rate));
        prop_assert_eq!(Timecode::parse(&timecode.to_string(), rate), Ok(timecode));
    }

    #[test]
    fn the_next_frame_has_a_later_label(rate in any_rate(), count in any::<u64>()) {
        let timecode = Timecode::from_count(count, rate);
        let next = timecode.after(1);
        prop_assert_eq!(next.after(-1), timecode);
        prop_assert!(next.count() == 0 || timecode.to_string() < next.to_string());
    }

    #[test]
    fn any_rate_reads_back_as_written(rate in any_rate()) {
        prop_assert_eq!(FrameRate::parse(&rate.to_string()), Ok(rate));
        let exact = f64::from(rate.numerator()) / f64::from(rate.denominator());
        prop_assert_eq!(f64::from(rate.nominal()), exact.ceil());
    }

    #[test]
    fn what_is_read_is_what_is_written(
        text in prop_oneof![
            "[0-9:;./+\\- é]{0,14}",
            "[0-2][0-9]:[0-6][0-9]:[0-6][0-9][:;.][01]?[0-6][0-9]",
            "[0-9]{1,4}[./]?[0-9]{0,7}",
        ],
    ) {
        if let Ok(rate) = FrameRate::parse(&text) {
            prop_assert!(rate.numerator() > 0);
        }
        for rate_text in ["24", "29.97", "120"] {
            if let Ok(timecode) = Timecode::parse(&text, rate(rate_text)) {
                prop_assert_eq!(timecode.to_string().replace(';', ":"), text.replace(';', ":"));
            }
        }
    }
}
