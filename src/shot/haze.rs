//! Haze on the stage that stands for the air of the real place: how much of a figure's light is left at the camera.
//!
//! What: along d through haze of extinction sigma the share exp(-sigma d) of the light arrives (P. Bouguer 1729, J. H. Lambert 1760; from memory), and the rest of what the camera sees there
//! is veiling light. Visibility V is the distance at which a black thing still has 2 % contrast: sigma = ln(50) / V, written 3.912 / V (H. Koschmieder 1924, from memory).
//! Everything on the stage is `scale` times as far, so the same picture needs a visibility of scale x V there. Invariant: visibility is finite and positive, the camera has a lens.
//! The air of the real place may take more of one band of colour than of another; haze of droplets on a stage does not, so what a band would lose more or less is to be corrected at the lamps or in compositing.
//! Limits: haze of the same density everywhere, no colour of its own. Lamps within the haze are not computed, so veiling light is a share and no brightness.

use crate::bounds::{self, Code, Flaw};
use crate::number::elementary;
use crate::stage::{Body, GroupId, Stage, check_name};

/// Extinction x visibility for a threshold of 2 % contrast: ln(50), as it is usually written.
const TWO_PERCENT: f64 = 3.912;

/// The same for 5 %: ln(20), as it is usually written (World Meteorological Organization, meteorological optical range; from memory).
const FIVE_PERCENT: f64 = 2.996;

/// Haze, as a shot asks for it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Haze {
    full_size_visibility: f64,
    camera: GroupId,
    scale: f64,
    bands: Vec<(String, f64)>,
}

/// What haze does to light from a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Veiled {
    /// Straight from the entrance pupil, mm.
    pub distance: f64,
    /// Share of the light that arrives.
    pub transmission: f64,
    /// The same in stops lost.
    pub stops: f64,
}

impl Haze {
    /// Haze seen by a camera; without its name by the only one.
    ///
    /// # Errors
    /// Every flaw: a visibility out of range, a camera without a lens, no camera or several and none named.
    pub(crate) fn new(stage: &Stage, full_size_visibility: f64, camera: Option<GroupId>) -> Result<Haze, Vec<Flaw>> {
        let mut flaws: Vec<Flaw> = bounds::VISIBILITY.check("full_size_visibility_m", full_size_visibility).err().into_iter().collect();
        let camera = self::camera(stage, camera).map_err(|flaw| flaws.push(flaw)).ok();
        match camera.filter(|_| flaws.is_empty()) {
            Some(camera) => Ok(Haze { full_size_visibility, camera, scale: stage.scale(), bands: Vec::new() }),
            None => Err(flaws),
        }
    }

    /// The same where the real air takes so many times as much of some bands of colour.
    ///
    /// # Errors
    /// A factor out of its range, a name of a wrong shape.
    pub(crate) fn with_bands(self, bands: Vec<(String, f64)>) -> Result<Haze, Vec<Flaw>> {
        let check = |(name, factor): &(String, f64)| [check_name("bands", name).err(), bounds::BAND.check("bands", *factor).err()];
        let flaws: Vec<Flaw> = bands.iter().flat_map(check).flatten().collect();
        if flaws.is_empty() { Ok(Haze { bands, ..self }) } else { Err(flaws) }
    }

    /// Bands of colour, and how many times as much the real air takes of each.
    #[must_use]
    pub(crate) fn bands(&self) -> &[(String, f64)] {
        &self.bands
    }

    /// The camera that looks through it.
    #[must_use]
    pub(crate) fn camera(&self) -> GroupId {
        self.camera
    }

    /// Visibility at the real place. Unit: m.
    #[must_use]
    pub(crate) fn full_size_visibility(&self) -> f64 {
        self.full_size_visibility
    }

    /// Visibility to measure on the stage, at 2 % contrast. Unit: m.
    #[must_use]
    pub(crate) fn visibility(&self) -> f64 {
        self.scale * self.full_size_visibility
    }

    /// The same haze as an instrument says it that reads the visibility at 5 % contrast. Unit: m.
    #[must_use]
    pub(crate) fn visibility_at_five_percent(&self) -> f64 {
        FIVE_PERCENT / self.extinction()
    }

    /// Extinction on the stage. Unit: 1/m.
    #[must_use]
    pub(crate) fn extinction(&self) -> f64 {
        TWO_PERCENT / self.full_size_visibility / self.scale
    }

    /// Light from so far away, mm.
    #[must_use]
    pub(crate) fn veil(&self, distance: f64) -> Veiled {
        let depth = self.extinction() * (distance / 1000.0);
        Veiled { distance, transmission: elementary::exp(-depth), stops: depth / core::f64::consts::LN_2 }
    }
}

impl Veiled {
    /// How many stops more the real air takes of a band than the haze on the stage does; below 0 it takes less.
    #[must_use]
    pub(crate) fn correction(&self, factor: f64) -> f64 {
        self.stops * (factor - 1.0)
    }

    /// Share of veiling light in front of the place.
    #[must_use]
    pub(crate) fn veiling_light(&self) -> f64 {
        1.0 - self.transmission
    }

    /// By how many per cent the density of the haze may change until the place is a tenth of a stop brighter or darker: stops are in proportion to density. `None` at no distance.
    #[must_use]
    pub(crate) fn density_for_a_tenth(&self) -> Option<f64> {
        (self.stops > 0.0).then(|| 100.0 * 0.1 / self.stops)
    }
}

fn camera(stage: &Stage, named: Option<GroupId>) -> Result<GroupId, Flaw> {
    let cameras: Vec<&Body> = stage.bodies().iter().filter(|b| b.lens().is_some()).collect();
    let names = || cameras.iter().map(|b| format!("`{}`", stage.group_name(b.group()))).collect::<Vec<_>>().join(", ");
    let missing = |title: &str, found: String| {
        let allowed = if cameras.is_empty() { "a stage with a camera".to_owned() } else { format!("a camera of the stage: {}", names()) };
        Flaw::new(Code::MissingLens, "camera", title).found(found, allowed).help("give the camera's group joints and a [group.lens]")
    };
    match (named, cameras.as_slice()) {
        (Some(group), _) if group.mark() != stage.mark() => Err(Flaw::new(Code::OtherStage, "camera", "the camera is of another stage")),
        (Some(group), all) if all.iter().any(|b| b.group() == group) => Ok(group),
        (Some(group), _) => Err(missing("the camera of the haze has no lens on the stage", format!("`{}`", stage.group_name(group)))),
        (None, [only]) => Ok(only.group()),
        (None, []) => Err(missing("haze needs a camera with a lens, and the stage has none", "no [group.lens]".to_owned())),
        (None, [first, ..]) => Err(Flaw::new(Code::MissingKey, "camera", "the stage has several cameras, and the haze names none")
            .found("no `camera`", format!("one of {}", names()))
            .help(format!("add `camera = \"{}\"`", stage.group_name(first.group())))),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::mechanism::{Lens, LensSpec};
    use crate::stage::{Axis, AxisSpec, BodySpec, GroupSpec, Surroundings, Unit};

    fn stage(scale: f64, cameras: usize) -> Stage {
        named("g", scale, cameras)
    }

    fn named(prefix: &str, scale: f64, cameras: usize) -> Stage {
        let axis = || vec![Axis::new(AxisSpec::new("track", Unit::Millimetre, [0.0, 1.0], [1.0, 1.0, 1.0])).unwrap()];
        let names: Vec<String> = (0..3).map(|i| format!("{prefix}{i}")).collect();
        let groups = names.iter().map(|name| GroupSpec { name: name.clone(), axes: axis() }).collect();
        let lens = || Lens::new(LensSpec { focal_length: 24.0, back: [24.0, 18.0], pixels: [4000, 3000] }).unwrap();
        let body = |(i, name): (usize, &String)| BodySpec { lens: (i < cameras).then(lens), ..BodySpec::new(name) };
        let bodies = names.iter().enumerate().map(body).collect();
        Stage::new("marsh", scale, groups).unwrap().with_bodies(bodies, Surroundings::default()).unwrap()
    }

    /// By hand: 60 m at a scale of 1/5 are 12 m; 3.912 / 60 / 0.2 = 0.326 per m; along 5 m exp(-1.63) = 0.19593 (a table of exp), 1.63 / 0.693147 = 2.35159 stops; a tenth of a stop
    /// is 10 / 2.35159 = 4.2524 %. An instrument that reads at 5 % shows 2.996 / 0.326 = 9.1902 m.
    #[test]
    fn worked_by_hand() {
        let haze = Haze::new(&stage(0.2, 1), 60.0, None).unwrap();
        let near = |found: f64, expected: f64, off: f64| assert!((found - expected).abs() <= off, "{found} {expected}");
        near(haze.visibility(), 12.0, 1e-12);
        near(haze.extinction(), 0.326, 1e-15);
        near(haze.visibility_at_five_percent(), 9.1902, 5e-5);
        let veiled = haze.veil(5000.0);
        near(veiled.transmission, 0.19593, 5e-6);
        near(veiled.stops, 2.35159, 5e-6);
        near(veiled.veiling_light(), 0.80407, 5e-6);
        near(veiled.density_for_a_tenth().unwrap(), 4.2524, 5e-5);
        // Air that takes a fifth more of the blue: 1.2 x 1.63 / ln 2 = 2.8219 stops, so 0.4703 more than on the stage.
        near(veiled.correction(1.2), 0.47032, 5e-6);
    }

    #[test]
    fn bands_have_names_and_factors_above_zero() {
        let of = |bands: &[(&str, f64)]| {
            let haze = Haze::new(&stage(0.2, 1), 60.0, None).unwrap();
            haze.with_bands(bands.iter().map(|(n, f)| ((*n).to_owned(), *f)).collect())
                .map_err(|f| f.iter().map(Flaw::code).collect::<Vec<_>>())
        };
        assert_eq!(of(&[("blue", 1.2), ("red", 0.9)]).unwrap().bands().len(), 2);
        for bad in [0.0, -1.0, f64::NAN, 1200.0] {
            assert_eq!(of(&[("blue", bad)]), Err(vec!["out-of-range"]), "{bad}");
        }
        assert_eq!(of(&[("Blue!", 1.0)]).unwrap_err().len(), 1);
    }

    /// Koschmieder's definition itself: at the visibility 2 % of the contrast is left, at that of 5 % 5 % (3.912 and 2.996 are rounded to four digits).
    #[test]
    fn contrast_at_the_visibility_is_the_threshold() {
        let haze = Haze::new(&stage(0.05, 1), 137.0, None).unwrap();
        assert!((haze.veil(1000.0 * haze.visibility()).transmission - 0.02).abs() < 1e-6);
        assert!((haze.veil(1000.0 * haze.visibility_at_five_percent()).transmission - 0.05).abs() < 2e-5);
        assert_eq!(haze.veil(0.0), Veiled { distance: 0.0, transmission: 1.0, stops: 0.0 });
        assert_eq!(haze.veil(0.0).density_for_a_tenth(), None);
    }

    /// Source: Pope and Fry 1997, Applied Optics 36, 8710: pure water takes 0.340 per m at 650 nm, so 0.1 m leave .967 and 0.3 m .903; 1 / a is 2.9 m.
    #[test]
    fn red_in_pure_water() {
        let haze = Haze::new(&stage(1.0, 1), 3.912 / 0.340, None).unwrap();
        let through = |m: f64| haze.veil(1000.0 * m).transmission;
        assert!((through(0.1) - 0.967).abs() < 5e-4 && (through(0.3) - 0.903).abs() < 5e-4);
        assert!((through(2.94) - crate::number::elementary::exp(-1.0)).abs() < 1e-3);
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let code = |cameras: usize, visibility: f64, named: Option<usize>| {
            let stage = stage(1.0, cameras);
            let named = named.and_then(|i| stage.group_of_name(&format!("g{i}")));
            Haze::new(&stage, visibility, named).map(|h| h.camera().index()).map_err(|f| f.iter().map(Flaw::code).collect::<Vec<_>>())
        };
        for bad in [0.0, -60.0, f64::NAN, f64::INFINITY, 1e9] {
            assert_eq!(code(1, bad, None), Err(vec!["out-of-range"]), "{bad}");
        }
        assert_eq!(code(0, 60.0, None), Err(vec!["missing-lens"]));
        assert_eq!(code(1, 60.0, Some(2)), Err(vec!["missing-lens"]));
        assert_eq!(code(2, 60.0, None), Err(vec!["missing-key"]));
        assert_eq!(code(2, 60.0, Some(1)), Ok(1));
        assert_eq!(code(0, 0.0, None), Err(vec!["out-of-range", "missing-lens"]));
        let other = named("h", 1.0, 1).group_of_name("h0");
        let flaws = Haze::new(&stage(1.0, 1), 60.0, other).unwrap_err();
        assert_eq!(flaws.iter().map(Flaw::code).collect::<Vec<_>>(), ["other-stage"]);
    }

    proptest! {
        /// A model seen through its haze loses what the real thing loses in the real haze; twice as far loses twice the stops; the change of density does what it says.
        #[test]
        fn the_model_looks_like_the_real_thing(scale in 0.01..1.0_f64, visibility in 1.0..1e5_f64, distance in 1.0..1e5_f64) {
            let (model, real) = (Haze::new(&stage(scale, 1), visibility, None).unwrap(), Haze::new(&stage(1.0, 1), visibility, None).unwrap());
            let (small, full) = (model.veil(distance * scale), real.veil(distance));
            prop_assert!((small.stops - full.stops).abs() <= 1e-12 * full.stops);
            prop_assert!((small.transmission - full.transmission).abs() <= 1e-12 + 1e-10 * full.transmission);
            prop_assert!((model.veil(2.0 * distance * scale).stops - 2.0 * small.stops).abs() <= 1e-12 * small.stops);
            let denser = Haze::new(&stage(scale, 1), visibility / (1.0 + small.density_for_a_tenth().unwrap() / 100.0), None);
            if let Ok(denser) = denser {
                prop_assert!((denser.veil(distance * scale).stops - small.stops - 0.1).abs() <= 1e-9 * (1.0 + small.stops));
            }
        }
    }
}
