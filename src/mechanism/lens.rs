//! The lens: where a point falls in the picture, and what a small motion is worth in pixels.
//!
//! Projection: f in pixels = focal length x pixels / film back; x = X / Z and y likewise are distorted (see [`super::distortion`]), times f, from the principal
//! point (any textbook of photogrammetry; the calibration chapter of the OpenCV manual). The camera looks along its own -Z with Y up and X to the right, as
//! in glTF 2.0. Pixels count from the left and from the top of the picture, in fractions: (0, 0) is the corner, not the middle of
//! the first pixel, whose middle is (0.5, 0.5). The camera's origin is the lens's entrance pupil.
//!
//! Invariant: the picture and all around it lies where the distortion is one to one; a point further off is [`Unseen::BeyondModel`], never a wrong pixel.
//! Limits: the principal point and the distortion do not change with the focus, the pupil does not move with it.

use super::breathing::Breathing;
use super::distortion::{Brown, Distortion};
use super::real::Real;
use super::space::{Pose, Vector};
use super::thin_lens;
use crate::bounds::{COORDINATE, Code, F_NUMBER, Flaw, LENGTH, PIXEL_ASPECT, PIXELS, STOPS};
use crate::number::{Jet, elementary};

/// What a lens and its film back are made from; units as in the stage file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensSpec {
    /// Focal length, mm.
    pub focal_length: f64,
    /// Width and height of the picture on the film back, mm.
    pub back: [f64; 2],
    /// Width and height of the picture, pixels.
    pub pixels: [u32; 2],
}

/// What a real lens has beside that; the default is an ideal one.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Optics {
    /// From the middle of the picture to where the optical axis meets it, mm on the film back: to the right and down.
    pub principal_point: [f64; 2],
    /// Width over height of a pixel, as the camera's papers say.
    pub pixel_aspect: f64,
    /// Distortion.
    pub distortion: Brown,
    /// Focus distance and focal length in effect, mm.
    pub breathing: Vec<[f64; 2]>,
    /// From the entrance pupil back to the film plane, mm.
    pub film_plane: Option<f64>,
    /// Largest disc that still counts as sharp, mm.
    pub circle_of_confusion: Option<f64>,
    /// Least and greatest stop.
    pub f_numbers: Option<[f64; 2]>,
    /// T-stop less f-stop, stops.
    pub t_minus_f_stops: f64,
}

impl Default for Optics {
    fn default() -> Optics {
        Optics {
            principal_point: [0.0; 2],
            pixel_aspect: 1.0,
            distortion: Brown::default(),
            breathing: Vec::new(),
            film_plane: None,
            circle_of_confusion: None,
            f_numbers: None,
            t_minus_f_stops: 0.0,
        }
    }
}

/// A checked lens.
#[derive(Debug, Clone, PartialEq)]
pub struct Lens {
    spec: LensSpec,
    /// Without the breathing, which is beside it.
    optics: Optics,
    distortion: Distortion,
    breathing: Breathing,
}

/// Parts of an edge of the picture at which an undistorted picture is measured.
const EDGE_PARTS: u8 = 16;

/// A place in the picture, pixels from its left and from its top.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pixel<T = f64> {
    /// From the left edge.
    pub right: T,
    /// From the top edge.
    pub down: T,
}

/// Why a point falls nowhere.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub(crate) enum Unseen {
    /// It is not in front of the camera.
    #[error("the point is {depth} mm behind the camera")]
    Behind {
        /// How far behind the plane of the lens, mm; 0 or more.
        depth: f64,
    },
    /// It is so far off the axis that the distortion says nothing of it.
    #[error("the point is {off} times its distance ahead off the axis, and the distortion holds up to {reach}")]
    BeyondModel {
        /// Distance from the axis over the distance ahead.
        off: f64,
        /// How far the distortion is one to one.
        reach: f64,
    },
}

impl Lens {
    /// Checks a lens.
    ///
    /// # Errors
    /// Every number out of its range.
    pub fn new(spec: LensSpec) -> Result<Lens, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(LENGTH.check("focal_length", spec.focal_length).err());
        for (i, side) in spec.back.into_iter().enumerate() {
            flaws.extend(LENGTH.check("back", side).err().map(|f| f.at_index(i)));
        }
        for (i, side) in spec.pixels.into_iter().enumerate() {
            flaws.extend(PIXELS.check("pixels", i64::from(side)).err().map(|f| f.at_index(i)));
        }
        let distortion = Distortion::new(Brown::default())?;
        let (breathing, optics) = (Breathing::default(), Optics::default());
        if flaws.is_empty() { Ok(Lens { spec, optics, distortion, breathing }) } else { Err(flaws) }
    }

    /// The same lens as it really is.
    ///
    /// # Errors
    /// Every number out of its range; a distortion that folds within the picture.
    pub fn with(self, mut optics: Optics) -> Result<Lens, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for (i, side) in optics.principal_point.into_iter().enumerate() {
            flaws.extend(COORDINATE.check("principal_point", side).err().map(|f| f.at_index(i)));
        }
        flaws.extend(PIXEL_ASPECT.check("pixel_aspect", optics.pixel_aspect).err());
        flaws.extend(optics.film_plane.and_then(|x| COORDINATE.check("film_plane", x).err()));
        flaws.extend(optics.circle_of_confusion.and_then(|x| LENGTH.check("circle_of_confusion", x).err()));
        flaws.extend(STOPS.check("t_minus_f_stops", optics.t_minus_f_stops).err());
        for (i, stop) in optics.f_numbers.into_iter().flatten().enumerate() {
            flaws.extend(F_NUMBER.check("f_numbers", stop).err().map(|f| f.at_index(i)));
        }
        if let Some([least, greatest]) = optics.f_numbers.filter(|[least, greatest]| !(least <= greatest)) {
            let flaw = Flaw::new(Code::EmptyRange, "f_numbers", "the greatest stop is below the least");
            flaws.push(flaw.found(format!("f/{least} to f/{greatest}"), "the least f-number first").help("exchange the two"));
        }
        let (distortion, breathing) = (Distortion::new(optics.distortion), Breathing::new(core::mem::take(&mut optics.breathing)));
        match (distortion, breathing) {
            (Ok(distortion), Ok(breathing)) if flaws.is_empty() => {
                let lens = Lens { spec: self.spec, optics, distortion, breathing };
                match lens.folds() {
                    None => Ok(lens),
                    Some(flaw) => Err(vec![flaw]),
                }
            }
            (distortion, breathing) => {
                flaws.extend(distortion.err().into_iter().flatten());
                flaws.extend(breathing.err().into_iter().flatten());
                Err(flaws)
            }
        }
    }

    /// What is wrong where a corner of the picture has no certain undistorted place.
    fn folds(&self) -> Option<Flaw> {
        if self.distortion.is_none() {
            return None;
        }
        let shortest = self.breathing.points().iter().map(|[_, f]| *f).fold(self.spec.focal_length, f64::min);
        let ([width, height], [right, down]) = (self.spec.back, self.optics.principal_point);
        let (x, y) = (0.5 * width + right.abs(), 0.5 * height + down.abs());
        let (corner, covered) = ((x * x + y * y).sqrt(), self.distortion.covers() * shortest);
        (!(corner < covered)).then(|| {
            Flaw::new(Code::FoldingDistortion, "distortion", "the distortion folds within the picture")
                .found(
                    format!("a picture that reaches {corner:.3} mm from the optical axis"),
                    format!("a model that is one to one there; this one is certain up to {covered:.3} mm"),
                )
                .help("fit the coefficients to points up to the corners of the picture, or leave the higher ones away")
        })
    }

    /// The lens focused at a distance, with the focal length that is then in effect; the same lens where no distance or no table is given.
    #[must_use]
    pub(crate) fn focused(&self, distance: Option<f64>) -> Lens {
        let focal_length = distance.and_then(|d| self.breathing.focal_length(d)).unwrap_or(self.spec.focal_length);
        let spec = LensSpec { focal_length, ..self.spec };
        Lens { spec, optics: self.optics.clone(), distortion: self.distortion, breathing: Breathing::default() }
    }

    /// Between these depths from the entrance pupil everything is in focus at an f-number, focused at a distance from the film plane, mm; the far one may be infinite. By the engraved focal
    /// length. `None` without a film plane or a circle of confusion.
    #[must_use]
    pub(crate) fn depth_of_field(&self, f_number: f64, focus: f64) -> Option<[f64; 2]> {
        let (film_plane, confusion) = (self.optics.film_plane?, self.optics.circle_of_confusion?);
        Some(thin_lens::limits(self.focal_length(), f_number, confusion, focus - film_plane))
    }

    /// Focal lengths by focus distance.
    #[must_use]
    pub(crate) fn breathing(&self) -> &Breathing {
        &self.breathing
    }

    /// Its distortion.
    #[must_use]
    pub(crate) fn distortion(&self) -> &Distortion {
        &self.distortion
    }

    /// What it has beside an ideal lens; its breathing is [`Lens::breathing`].
    #[must_use]
    pub(crate) fn optics(&self) -> &Optics {
        &self.optics
    }

    /// Focal length, mm; that in effect where the lens is [`focused`](Lens::focused).
    #[must_use]
    pub(crate) fn focal_length(&self) -> f64 {
        self.spec.focal_length
    }

    /// Width and height of the film back, mm.
    #[must_use]
    pub(crate) fn back(&self) -> [f64; 2] {
        self.spec.back
    }

    /// Width and height of the picture, pixels.
    #[must_use]
    pub(crate) fn pixels(&self) -> [u32; 2] {
        self.spec.pixels
    }

    /// Focal length in pixels of the width and of the height; they differ where pixels are not square.
    #[must_use]
    pub(crate) fn focal_pixels(&self) -> [f64; 2] {
        let LensSpec { focal_length, back: [width, height], pixels: [across, down] } = self.spec;
        [focal_length * f64::from(across) / width, focal_length * f64::from(down) / height]
    }

    /// Where the optical axis meets the picture.
    #[must_use]
    pub(crate) fn axis(&self) -> Pixel {
        let ([width, height], [across, down]) = (self.spec.back, self.spec.pixels.map(f64::from));
        let [aside, below] = self.optics.principal_point;
        Pixel { right: 0.5 * across + aside * across / width, down: 0.5 * down + below * down / height }
    }

    /// Where a point that the camera sees at `seen` (mm, in the camera's own axes) falls.
    ///
    /// # Errors
    /// [`Unseen`] for a point at or behind the plane of the lens, or where the distortion says nothing. Outside the picture is no error: ask
    /// [`Lens::in_picture`].
    pub(crate) fn project_seen<T: Real>(&self, seen: Vector<T>) -> Result<Pixel<T>, Unseen> {
        let at = Lens::on_plane(seen)?;
        if self.distortion.is_none() {
            return Ok(self.pixel(at));
        }
        let [x, y] = at.map(T::value);
        let (off, reach) = ((x * x + y * y).sqrt(), self.distortion.reach());
        if !(off <= reach) {
            return Err(Unseen::BeyondModel { off, reach });
        }
        Ok(self.pixel(self.distortion.apply(at)))
    }

    /// A point on the plane at distance 1 ahead: to the right and down.
    ///
    /// # Errors
    /// [`Unseen::Behind`].
    pub(crate) fn on_plane<T: Real>(seen: Vector<T>) -> Result<[T; 2], Unseen> {
        let ahead = -seen.z;
        if 0.0 < ahead.value() { Ok([seen.x / ahead, -(seen.y / ahead)]) } else { Err(Unseen::Behind { depth: seen.z.value() }) }
    }

    /// The pixel of a place on that plane as it is on the film: for an undistorted place the pixel of the undistorted picture.
    pub(crate) fn pixel<T: Real>(&self, [x, y]: [T; 2]) -> Pixel<T> {
        let ([across, down], axis) = (self.focal_pixels(), self.axis());
        Pixel { right: x.times(across) + T::constant(axis.right), down: y.times(down) + T::constant(axis.down) }
    }

    /// Where a point of the stage falls in the picture of a camera that stands at `camera`.
    ///
    /// # Errors
    /// As [`Lens::project_seen`].
    pub(crate) fn project<T: Real>(&self, camera: &Pose<T>, point: Vector<T>) -> Result<Pixel<T>, Unseen> {
        self.project_seen(camera.inward(point))
    }

    /// Where a place of the picture looks: a point on the plane at distance 1 ahead, to the right and down. The inverse of [`Lens::project_seen`]; `None` where the distortion says nothing.
    #[must_use]
    pub(crate) fn direction(&self, [right, down]: [f64; 2]) -> Option<[f64; 2]> {
        let ([across, high], axis) = (self.focal_pixels(), self.axis());
        self.distortion.undo([(right - axis.right) / across, (down - axis.down) / high])
    }

    /// Speed of a point in the picture, pixels a frame, for camera and point in motion. With jets in which one channel alone moves, by one unit a frame, it is
    /// pixels per unit of that channel: times a step or a backlash, what it is worth in the picture.
    ///
    /// # Errors
    /// As [`Lens::project_seen`].
    pub(crate) fn speed(&self, camera: &Pose<Jet>, point: Vector<Jet>) -> Result<f64, Unseen> {
        let Pixel { right, down } = self.project(camera, point)?;
        Ok((right.v * right.v + down.v * down.v).sqrt())
    }

    /// How many times as wide and high, about its middle, an undistorted picture of the same focal length must be to hold the whole plate: at places along the plate's edges.
    #[must_use]
    pub(crate) fn overscan(&self) -> f64 {
        if self.distortion.is_none() {
            return 1.0;
        }
        let [x, y] = self.spec.pixels.map(f64::from);
        let along = (0..=EDGE_PARTS).map(|i| f64::from(i) / f64::from(EDGE_PARTS));
        let edges = along.flat_map(|s| [[s * x, 0.0], [s * x, y], [0.0, s * y], [x, s * y]]);
        let out = |[right, low]: [f64; 2]| {
            let place = self.direction([right, low])?;
            let at = self.pixel(place);
            Some(f64::max((2.0 * at.right / x - 1.0).abs(), (2.0 * at.down / y - 1.0).abs()))
        };
        // The whole picture lies where the inverse is certain: the constructor saw to it.
        edges.filter_map(out).fold(0.0, f64::max)
    }

    /// True for a place within the edges of the picture.
    #[must_use]
    pub(crate) fn in_picture(&self, at: Pixel) -> bool {
        let [across, down] = self.spec.pixels.map(f64::from);
        0.0 <= at.right && at.right <= across && 0.0 <= at.down && at.down <= down
    }

    /// Vertical field of view, radians, as a glTF 2.0 camera wants it: 2 atan(height / (2 f)).
    #[must_use]
    pub(crate) fn vertical_view(&self) -> f64 {
        let [_, height] = self.spec.back;
        2.0 * elementary::atan2(0.5 * height, self.spec.focal_length)
    }

    /// Width over height of the picture on the film back, as a glTF 2.0 camera wants it.
    #[must_use]
    pub(crate) fn aspect(&self) -> f64 {
        let [width, height] = self.spec.back;
        width / height
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::super::joint::{Chain, JointKind, JointSpec, moving_alone};
    use super::super::real::oracle::{both, same};
    use super::*;

    /// 15 mm with pixels of 10 um, 1280 x 1024 of them: 1500 pixels of focal length, middle (640, 512).
    fn lens() -> Lens {
        Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap()
    }

    /// Track along X, dolly along Z, pan about Y, roll about the optical axis.
    fn camera() -> Chain {
        let joint = |kind, channel| JointSpec { kind, channel: Some(channel), rest: 0.0, offset: [0.0; 3] };
        Chain::new(&[
            joint(JointKind::Slide([1.0, 0.0, 0.0]), 0),
            joint(JointKind::Slide([0.0, 0.0, -1.0]), 1),
            joint(JointKind::Turn([0.0, 1.0, 0.0]), 2),
            joint(JointKind::Turn([0.0, 0.0, 1.0]), 3),
        ])
        .unwrap()
    }

    /// Source: Corke, Machine Vision Toolbox README: f 15 mm, pixel 10 um, principal point (640, 512), point (0.3, 0.4, 3) m with y
    /// down and z ahead: (790, 712); the camera 0.1 m to the right: (740, 712).
    #[test]
    fn the_published_projection() {
        let point = Vector::new(300.0, -400.0, -3000.0);
        for (track, right) in [(0.0, 790.0), (100.0, 740.0)] {
            let at = lens().project(&camera().pose(|c| if c == 0 { track } else { 0.0 }), point).unwrap();
            assert!((at.right - right).abs() <= 1e-12 && (at.down - 712.0).abs() <= 1e-12, "{at:?}");
        }
    }

    /// Source: petercorke.github.io CentralCamera.C: f 8 mm, pixel 10 um, principal point 500, camera at x 0.1:
    /// C = [800 0 500 -80; 0 800 500 0; 0 0 1 0], here applied to a point at (1, 0, 2) m: (800 + 1000 - 80) / 2 = 860.
    #[test]
    fn the_published_camera_matrix() {
        let lens = Lens::new(LensSpec { focal_length: 8.0, back: [10.0, 10.0], pixels: [1000, 1000] }).unwrap();
        let at = lens.project(&camera().pose(|c| if c == 0 { 100.0 } else { 0.0 }), Vector::new(1000.0, 0.0, -2000.0)).unwrap();
        assert!((at.right - 860.0).abs() <= 1e-12 && at.down == 500.0, "{at:?}");
    }

    /// Derived, first order: a minute of pan is f d on the axis and f d / cos^2 10 deg there (0.43633, 0.44990 px; the finite minute,
    /// 0.44993 px, is further off by its own tangent); a minute of roll is r d (0.07272 px at 250 px); 0.1 mm of track at 3 m is 0.05
    /// px; 1 mm of dolly at 3 m is r dZ / Z = 0.08333 px (0.08336 as a finite step).
    #[test]
    fn small_motions_in_pixels() {
        let minute = 1.0 / 60.0;
        let worth = |channel: usize, point: [f64; 3]| {
            let pose = camera().pose(moving_alone(channel, |_| 0.0));
            lens().speed(&pose, Vector::constant(Vector::from(point))).unwrap()
        };
        let ahead = [0.0, 0.0, -3000.0];
        let off = [300.0, -400.0, -3000.0];
        let ten = elementary::radians(10.0);
        let aside = [3000.0 * elementary::sin(ten), 0.0, -3000.0 * elementary::cos(ten)];
        for (mine, derived, tolerance) in [
            (worth(2, ahead) * minute, 0.436_33, 5e-6),
            (worth(2, aside) * minute, 0.449_90, 5e-6),
            (worth(3, off) * minute, 0.072_72, 5e-6),
            (worth(0, ahead) * 0.1, 0.05, 1e-15),
            (worth(1, off), 250.0 / 3000.0, 1e-15),
        ] {
            assert!((mine - derived).abs() <= tolerance, "{mine} {derived}");
        }
        let finite = |channel: usize, by: f64, point: [f64; 3]| {
            let at = |v| lens().project(&camera().pose(|c| if c == channel { v } else { 0.0 }), Vector::from(point)).unwrap();
            let (a, b) = (at(0.0), at(by));
            ((a.right - b.right) * (a.right - b.right) + (a.down - b.down) * (a.down - b.down)).sqrt()
        };
        assert!((finite(2, minute, aside) - 0.449_93).abs() <= 2e-5);
        assert!((finite(1, 1.0, off) - 0.083_36).abs() <= 1e-5);
    }

    /// Source: glTF 2.0 specification, cameras: yfov 0.660593 with aspect ratio 1.5, which a 35 mm lens on a back 24 mm high gives.
    #[test]
    fn the_view_of_the_specifications_example() {
        let lens = Lens::new(LensSpec { focal_length: 35.0, back: [36.0, 24.0], pixels: [3, 2] }).unwrap();
        assert!((lens.vertical_view() - 0.660_593).abs() <= 2e-6);
        assert_eq!(lens.aspect(), 1.5);
    }

    #[test]
    fn behind_is_said_and_the_edge_belongs_to_the_picture() {
        assert_eq!(lens().project_seen(Vector::new(0.0, 0.0, 5.0)).unwrap_err(), Unseen::Behind { depth: 5.0 });
        assert!(lens().project_seen(Vector::new(0.0, 0.0, 0.0)).is_err());
        assert!(lens().project_seen(Vector::new(0.0, 0.0, f64::NAN)).is_err());
        let at = |right, down| lens().in_picture(Pixel { right, down });
        assert!(at(0.0, 1024.0) && !at(-1e-9, 3.0) && !at(1280.1, 3.0) && !at(f64::NAN, 3.0));
    }

    #[test]
    fn derivatives_are_those_of_an_independent_library() {
        let (x, y, z) = (both(300.0, 4.0, -1.0, 0.3), both(-200.0, 1.0, 0.5, -0.2), both(-2500.0, -9.0, 2.0, 1.0));
        let mine = lens().project_seen(Vector::new(x.0, y.0, z.0)).unwrap();
        let theirs = lens().project_seen(Vector::new(x.1, y.1, z.1)).unwrap();
        same(mine.right, theirs.right, 1e-13);
        same(mine.down, theirs.down, 1e-13);
    }

    /// Derived: 0.1 mm of 24.9 mm on 4096 pixels are 16.45 px, -0.2 mm of 18.7 mm on 3072 are -32.86 px.
    #[test]
    fn the_principal_point_moves_the_picture_and_a_focused_lens_breathes() {
        let spec = LensSpec { focal_length: 24.0, back: [24.9, 18.7], pixels: [4096, 3072] };
        // A thin lens of 24 mm: 24.489796 mm at 1.2 m, 24.193548 mm at 3 m, 1.2245 % apart.
        let thin = |s: f64| 24.0 * s / (s - 24.0);
        let optics =
            Optics { principal_point: [0.1, -0.2], breathing: vec![[1200.0, thin(1200.0)], [3000.0, thin(3000.0)]], ..Optics::default() };
        let lens = Lens::new(spec).unwrap().with(optics).unwrap();
        let ahead = lens.project_seen(Vector::new(0.0, 0.0, -7.0)).unwrap();
        assert!((ahead.right - 2064.4498).abs() < 1e-4 && (ahead.down - 1503.1444).abs() < 1e-4, "{ahead:?}");
        let at = |distance: Option<f64>| lens.focused(distance).project_seen(Vector::new(600.0, 0.0, -2000.0)).unwrap().right - ahead.right;
        assert!((at(Some(1200.0)) / at(Some(3000.0)) - 1.012_245).abs() < 5e-7);
        assert!((at(None) - 24.0 * 0.3 * 4096.0 / 24.9).abs() < 1e-9);
    }

    #[test]
    fn a_distortion_that_folds_in_the_picture_is_refused_and_no_point_beyond_it_has_a_pixel() {
        let with = |k1: f64| lens().with(Optics { distortion: Brown { k1, ..Brown::default() }, ..Optics::default() });
        // The corner is 8.2 mm off the axis, 0.546 of the focal length; 2/3 of the fold at 1 / sqrt(-3 k1) must be further.
        assert_eq!(with(-0.6).unwrap_err().first().map(|f| f.code.slug()), Some("folding-distortion"));
        let lens = with(-0.2).unwrap();
        assert!(matches!(lens.project_seen(Vector::new(13.0, 0.0, -10.0)), Err(Unseen::BeyondModel { .. })));
        let at = lens.project_seen(Vector::new(5.0, 0.0, -10.0)).unwrap();
        assert!((at.right - (640.0 + 1500.0 * 0.5 * 0.95)).abs() < 1e-9 && at.down == 512.0, "{at:?}");
    }

    #[test]
    fn lenses_that_show_nothing_are_refused() {
        let spec = LensSpec { focal_length: f64::NAN, back: [0.0, 24.0], pixels: [0, 1024] };
        let found: Vec<(String, Option<usize>)> = Lens::new(spec).unwrap_err().into_iter().map(|f| (f.field, f.index)).collect();
        assert_eq!(found, [("focal_length".to_owned(), None), ("back".to_owned(), Some(0)), ("pixels".to_owned(), Some(0))]);
    }
}
