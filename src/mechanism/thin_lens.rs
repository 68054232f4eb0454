//! A thin lens: what is sharp, at which stop, and how much nearer things need more light.
//!
//! Source: geometrical optics of a thin lens, as in any textbook. A point at distance d, seen through a lens of focal length f at f-number N that is focused at s, is a disc of
//! diameter f^2 |d - s| / (N d (s - f)) on the film. It is sharp where that is not more than the circle of confusion c. So with H = f^2 / (N c) + f the limits are
//! s (H - f) / (H + s - 2 f) and s (H - f) / (H - s). From n to F everything is sharp at the least stop where both ends are discs of one size: s = 2 n F / (n + F).
//! At full size the same framing at stop N of a lens focused at S shows something at distance k S as the disc f^2 |k - 1| / (N k (S - f)); the model, at s = scale x S, shows it as
//! f^2 |k - 1| / (N' k (s - f)). They are equal for N' = N (S - f) / (s - f), which far away is the rule N / scale.
//! Units: mm. Limits: distances count from the entrance pupil; thick lenses differ at close range, and nothing is said of the lens's own faults.

/// Where to focus so that `nearest` and `farthest` are equally sharp.
#[must_use]
pub(crate) fn focus_between(nearest: f64, farthest: f64) -> f64 {
    2.0 * nearest * farthest / (nearest + farthest)
}

/// The least f-number at which everything from `nearest` to `farthest` is sharp, focused between them.
#[must_use]
pub(crate) fn f_number_between(focal: f64, confusion: f64, nearest: f64, farthest: f64) -> f64 {
    let focus = focus_between(nearest, farthest);
    focal * focal * focus * (1.0 / nearest - 1.0 / farthest) / (2.0 * confusion * (focus - focal))
}

/// The same, focused at `focus`: 0 where both are there.
#[must_use]
pub(crate) fn f_number_about(focal: f64, confusion: f64, focus: f64, nearest: f64, farthest: f64) -> f64 {
    let off = ((focus - nearest) / nearest).max((farthest - focus) / farthest);
    focal * focal * off.max(0.0) / (confusion * (focus - focal))
}

/// The stop at which a model shows the depth that the full size has at `look`, focused on it at `focus`.
#[must_use]
pub(crate) fn f_number_of_look(look: f64, focal: f64, focus: f64, scale: f64) -> f64 {
    look * (focus / scale - focal) / (focus - focal)
}

/// Nearest and farthest that is sharp at f-number `f_number`, focused at `focus`; infinite where everything behind is.
#[must_use]
pub(crate) fn limits(focal: f64, f_number: f64, confusion: f64, focus: f64) -> [f64; 2] {
    let hyperfocal = focal * focal / (f_number * confusion) + focal;
    let far = if focus < hyperfocal { focus * (hyperfocal - focal) / (hyperfocal - focus) } else { f64::INFINITY };
    [focus * (hyperfocal - focal) / (hyperfocal + focus - 2.0 * focal), far]
}

/// Image size over size.
#[must_use]
pub(crate) fn magnification(focal: f64, focus: f64) -> f64 {
    focal / (focus - focal)
}

/// Wavelength for which diffraction is stated, mm: the middle of daylight as eyes see it.
const GREEN: f64 = 0.55e-3;

/// Diameter of the first dark ring of a point, mm, at an f-number and a magnification: 2.44 wavelengths times the f-number in effect (G. B. Airy 1835, from memory).
#[must_use]
pub(crate) fn airy(f_number: f64, magnification: f64) -> f64 {
    2.44 * GREEN * f_number * (1.0 + magnification)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    const INCH: f64 = 25.4;

    fn near(found: f64, printed: f64, room: f64) {
        assert!((found - printed).abs() <= room, "{found} {printed}");
    }

    /// Source: US Army subcourse SS0507: 2 inches at f/8 with a circle of 0.002 inch is hyperfocal at 20.8 ft, near limit 10.4 ft. Their H leaves out + f.
    #[test]
    fn the_army_s_hyperfocal_distance() {
        let hyperfocal = 20.8 * 12.0 * INCH + 2.0 * INCH;
        let [close, far] = limits(2.0 * INCH, 8.0, 0.002 * INCH, hyperfocal);
        near(close / 12.0 / INCH, 10.4, 0.1);
        assert!(far > 1e5);
    }

    /// Source: calculator.7search.cc: 50 mm, f/8, 0.02 mm: 15 625 mm; 35 mm, f/11, 0.03 mm: 3712.12 mm. Their H leaves out + f.
    #[test]
    fn two_hyperfocal_distances() {
        for (focal, stop, confusion, printed) in [(50.0, 8.0, 0.02, 15_625.0), (35.0, 11.0, 0.03, 3712.12)] {
            let hyperfocal = printed + focal;
            let [close, far] = limits(focal, stop, confusion, hyperfocal * (1.0 + 1e-6));
            near(close, 0.5 * hyperfocal, 0.01 * hyperfocal / 100.0);
            assert!(far == f64::INFINITY && limits(focal, stop, confusion, hyperfocal * (1.0 - 1e-5))[1].is_finite());
        }
    }

    /// Source: insyncpubs.com, depth of field: 50 mm, f/4, 10 ft: 8 ft 9 in to 11 ft 8 in for 0.03 mm, 9 ft 2 in to 11 ft for 0.019 mm; whole inches.
    #[test]
    fn ten_feet_at_f_4() {
        for (confusion, printed) in [(0.03, [105.0, 140.0]), (0.019, [110.0, 132.0])] {
            let found = limits(50.0, 4.0, confusion, 120.0 * INCH);
            near(found[0] / INCH, printed[0], 1.0);
            near(found[1] / INCH, printed[1], 1.0);
        }
    }

    /// D: 50 mm, f/8, 0.025 mm (35 mm film, American Cinematographer Manual 1986): H = 12 550 mm; at 2 m 1730.1038 to 2369.6682 mm. Back again, those limits need f/8 at 2 m.
    #[test]
    fn limits_and_stops_are_inverse() {
        let [n, far] = limits(50.0, 8.0, 0.025, 2000.0);
        near(n, 1730.1038, 1e-4);
        near(far, 2369.6682, 1e-4);
        near(focus_between(n, far), 2000.0, 1e-9);
        near(f_number_between(50.0, 0.025, n, far), 8.0, 1e-12);
        near(f_number_about(50.0, 0.025, 2000.0, n, far), 8.0, 1e-12);
        near(f_number_about(50.0, 0.025, 2000.0, n, 2000.0), 8.0, 1e-12);
        assert_eq!(f_number_about(50.0, 0.025, 2000.0, 2000.0, 2000.0), 0.0);
        assert_eq!(limits(50.0, 8.0, 0.025, 12_550.0)[1], f64::INFINITY);
    }

    /// D: at magnification 1 the whole depth is 2 N c (m + 1) / m^2 = 1.6 mm for f/16 and 0.025 mm; good to 2 um.
    #[test]
    fn depth_at_life_size() {
        let [n, far] = limits(50.0, 16.0, 0.025, 100.0);
        near(far - n, 1.6, 0.002);
        near(magnification(50.0, 100.0), 1.0, 1e-15);
        // Source: kennethleegallery.com, view camera: 300 mm focused at 3048 mm has m = .109.
        near(magnification(300.0, 3048.0), 0.109, 5e-4);
        // The same source: a 200 mm lens at a draw of 315 mm is focused at 547(.8) mm; at a draw v the magnification is v / f - 1.
        near(magnification(200.0, 547.8), 315.0 / 200.0 - 1.0, 2e-4);
    }

    /// The disc of a point at k times the focus distance is the same on the model as at full size (D); far away the stop is N / scale.
    #[test]
    fn the_look_of_full_size() {
        let (focal, focus, scale) = (50.0, 1600.0, 0.2);
        let stop = f_number_of_look(5.6, focal, focus, scale);
        let disc = |n: f64, s: f64, k: f64| focal * focal * (k - 1.0) / (n * k * (s - focal));
        near(disc(stop, focus, 1.3), disc(5.6, focus / scale, 1.3), 1e-15);
        near(f_number_of_look(5.6, focal, 1e9, scale), 28.0, 1e-4);
        assert!(stop > 28.0);
    }

    /// 2.44 x 0.55 um x 22 x 1 = 29.5 um: more than a circle of 25 um.
    #[test]
    fn diffraction_at_f_22() {
        near(airy(22.0, 0.0), 0.029_524, 1e-12);
    }
}
