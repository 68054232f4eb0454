//! Exposure of a pass: how long the shutter must be open, and how far off it is.
//!
//! What: metered seconds x (stop (1 + m) / metered stop)^2 x filter factor, with the light that the glass loses, 2^(T - f); above 1 s film takes that to its exponent.
//! (1 + m)^2 is the close-up factor, (bellows / focal length)^2. Sources: US Army subcourses SS0511 and SS0512; Ilford, reciprocity failure.
//! Invariant: numbers in their bounds give finite, positive seconds. Limits: what a meter read is taken as it is.

use crate::number::{elementary, whole};
use crate::shot::light::Light;

/// Seconds that the shutter must be open at `stop` and magnification `m`, through glass that loses `t_stops`.
#[must_use]
pub(crate) fn seconds(light: &Light, stop: f64, m: f64, t_stops: f64) -> f64 {
    on_film(metered(light, stop, m, t_stops), light.reciprocity)
}

/// By how many stops an exposure of `open` seconds is more than asked for; negative: less. Film above 1 s has gained less than its time says.
#[must_use]
pub(crate) fn stops_over(light: &Light, stop: f64, m: f64, t_stops: f64, open: f64) -> f64 {
    let effective = if open > 1.0 { power(open, 1.0 / light.reciprocity) } else { open };
    log2(effective / metered(light, stop, m, t_stops))
}

/// Shutter angle, deg, at which the exposure is right at this pace; above 360 there is none.
#[must_use]
pub(crate) fn shutter(needed: f64, seconds_per_frame: f64) -> f64 {
    360.0 * needed / seconds_per_frame
}

/// Without what film loses.
fn metered(light: &Light, stop: f64, m: f64, t_stops: f64) -> f64 {
    let ratio = stop * (1.0 + m) / light.f_number;
    light.seconds * ratio * ratio * light.filter_factor * power(2.0, t_stops)
}

fn on_film(seconds: f64, exponent: f64) -> f64 {
    if seconds > 1.0 { power(seconds, exponent) } else { seconds }
}

/// `base` above 0 to a power; 1 leaves it as it is.
fn power(base: f64, exponent: f64) -> f64 {
    if exponent == 1.0 {
        base
    } else if exponent == 0.0 {
        1.0
    } else {
        elementary::exp(exponent * elementary::ln(base))
    }
}

/// The stop as lenses are marked: the next third of a stop, 2^(k/6), not below what is asked nor below the lens's least; `None` above its greatest.
#[must_use]
pub(crate) fn marked(asked: f64, range: Option<[f64; 2]>) -> Option<f64> {
    let [least, greatest] = range.unwrap_or([0.0, f64::INFINITY]);
    if !(0.0 <= asked && asked <= greatest) {
        return None;
    }
    // Rounding must not lead to the third after the one that was meant.
    let k = (6.0 * log2(asked.max(least)) - 1e-9).ceil();
    // Powers of two are exact.
    let whole = whole::floor(k / 6.0).and_then(|n| i32::try_from(n).ok())?;
    let stop = elementary::two_to_the(whole) * power(2.0, k / 6.0 - f64::from(whole));
    Some(stop).filter(|n| *n <= greatest * ENGRAVED)
}

/// Marks are rounded as they are engraved: 22 stands for 22.627 and 5.6 for 5.657, up to 3 % less. A third of a stop is 12 %.
const ENGRAVED: f64 = 1.03;

fn log2(x: f64) -> f64 {
    elementary::ln(x) / elementary::ln(2.0)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn light(f_number: f64, seconds: f64, filter: f64, reciprocity: f64) -> Light {
        Light::new("key", f_number, seconds, filter, reciprocity).unwrap()
    }

    /// Sources: US Army SS0512: bellows 18 in, lens 12 in: factor 2.25, 8 s become 18 s; SS0511: bellows 12, lens 6: factor 4, two stops. kennethleegallery.com: a 300 mm
    /// lens at a draw of 450 mm: 2 s become 4.5 s.
    #[test]
    fn close_up_factors() {
        for (bellows, focal, metered, printed) in [(18.0, 12.0, 8.0, 18.0), (12.0, 6.0, 1.0, 4.0), (450.0, 300.0, 2.0, 4.5)] {
            let found = seconds(&light(8.0, metered, 1.0, 1.0), 8.0, bellows / focal - 1.0, 0.0);
            assert!((found - printed).abs() <= 1e-12 * printed, "{found}");
        }
        assert!((stops_over(&light(8.0, 4.0, 1.0, 1.0), 8.0, 1.0, 0.0, 4.0) + 2.0).abs() < 1e-12);
    }

    /// Sources: US Army SS0512: an image of 8 in of an original of 12 in needs 2.8 times (exactly 2.778); Langford: 10 cm shown at 5 cm need 2.25 times.
    #[test]
    fn close_up_by_sizes() {
        for (image, original, printed, room) in [(8.0, 12.0, 2.8, 0.05), (8.0, 12.0, 2.778, 5e-4), (5.0, 10.0, 2.25, 1e-12)] {
            let found = seconds(&light(8.0, 1.0, 1.0, 1.0), 8.0, image / original, 0.0);
            assert!((found - printed).abs() <= room, "{found}");
        }
    }

    /// Source: Ilford, reciprocity failure: exponents of nine films, SFX 1.43 to Ortho Plus 1.25; Tc = Tm^P above 1 s.
    #[test]
    fn films_take_their_exponent() {
        for exponent in [1.43_f64, 1.33, 1.26, 1.41, 1.33, 1.26, 1.31, 1.31, 1.25] {
            let found = seconds(&light(8.0, 30.0, 1.0, exponent), 8.0, 0.0, 0.0);
            assert!((found - elementary::exp(exponent * elementary::ln(30.0))).abs() <= 1e-9 * found, "{exponent} {found}");
        }
    }

    /// Source: Ilford, reciprocity failure: HP5 Plus, exponent 1.31: 10 s become 20.4 s. Up to 1 s nothing changes.
    #[test]
    fn film_above_a_second() {
        let found = seconds(&light(8.0, 10.0, 1.0, 1.31), 8.0, 0.0, 0.0);
        assert!((found - 20.4).abs() <= 0.05, "{found}");
        assert_eq!(seconds(&light(8.0, 1.0, 1.0, 1.31), 8.0, 0.0, 0.0), 1.0);
        // The exposure that is asked for is none over.
        assert!(stops_over(&light(8.0, 10.0, 1.0, 1.31), 8.0, 0.0, 0.0, found).abs() < 1e-12);
    }

    /// Source: US Army SS0511: time doubles with each stop: f/4 to f/8 is two, f/4 to f/16 four. Marks are rounded: f/4 to f/11 is 2.919, not 3. Half a T-stop is 2^0.5.
    #[test]
    fn stops_filters_and_glass() {
        let from = light(4.0, 1.0, 1.0, 1.0);
        for (stop, times) in [(8.0, 4.0), (16.0, 16.0)] {
            assert_eq!(seconds(&from, stop, 0.0, 0.0), times);
        }
        assert!((stops_over(&from, 11.0, 0.0, 0.0, 1.0) + 2.919).abs() < 5e-4);
        assert!((seconds(&light(4.0, 1.0, 2.0, 1.0), 4.0, 0.0, 0.5) - 2.0 * 2.0_f64.sqrt()).abs() < 1e-12);
    }

    /// Thirds of a stop from f/1 on, 2^(k/6): 2, 2.2449, 2.5198, 2.8284. What is a mark already stays.
    #[test]
    fn marks_are_thirds_of_a_stop() {
        let at = |asked: f64| marked(asked, Some([4.0, 22.7])).unwrap();
        assert!((at(8.0) - 8.0).abs() < 1e-12 && (at(8.0001) - 8.979_696_386_5).abs() < 1e-9);
        assert!((at(2.0) - 4.0).abs() < 1e-12 && marked(22.8, Some([4.0, 22.7])).is_none());
        assert!((at(22.0) - 16.0 * 2.0_f64.sqrt()).abs() < 1e-9);
        assert!((marked(21.0, Some([4.0, 22.0])).unwrap() - 16.0 * 2.0_f64.sqrt()).abs() < 1e-9);
        assert_eq!((marked(f64::NAN, None), marked(22.3, Some([4.0, 22.0])), marked(21.0, Some([4.0, 21.0]))), (None, None, None));
    }

    /// Sources: cinematography.com, topic 24017, and hgb-leipzig.de: shutter angles and the parts of a second that they are, at 24 and 6 frames per second. D: 45 deg at 24 are 1/192 s.
    #[test]
    fn shutter_angles() {
        let at_24 = [(24.0, 360.0), (32.0, 270.0), (48.0, 180.0), (50.0, 172.8), (60.0, 144.0), (96.0, 90.0), (120.0, 72.0), (192.0, 45.0)];
        let at_6 = [(12.0, 180.0), (24.0, 90.0), (48.0, 45.0)];
        for (rate, all) in [(24.0, &at_24[..]), (6.0, &at_6)] {
            for (part, angle) in all {
                assert!((shutter(1.0 / part, 1.0 / rate) - angle).abs() < 1e-9, "{angle}");
            }
        }
    }
}
