//! The lens: where a point falls in the picture, and what a small motion is worth in pixels.
//!
//! Pinhole projection: f in pixels = focal length x pixels / film back, then f X / Z from the middle of the picture (any textbook of
//! photogrammetry; the calibration chapter of the OpenCV manual). The camera looks along its own -Z with Y up and X to the right, as
//! in glTF 2.0. Pixels count from the left and from the top of the picture, in fractions: (0, 0) is the corner, not the middle of
//! the first pixel. The camera's origin is the lens's entrance pupil. Limits: no distortion, no focus, principal point in the middle.

use super::real::Real;
use super::space::{Pose, Vector};
use crate::bounds::{Flaw, LENGTH, PIXELS};
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

/// A checked lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    spec: LensSpec,
}

/// A place in the picture, pixels from its left and from its top.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pixel<T = f64> {
    /// From the left edge.
    pub right: T,
    /// From the top edge.
    pub down: T,
}

/// A point that the camera does not see because it is not in front of it.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("the point is {depth} mm behind the camera")]
pub(crate) struct BehindCamera {
    /// How far behind the plane of the lens, mm; 0 or more.
    pub depth: f64,
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
        if flaws.is_empty() { Ok(Lens { spec }) } else { Err(flaws) }
    }

    /// Focal length, mm.
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

    /// The middle of the picture, where the optical axis meets it.
    #[must_use]
    pub(crate) fn middle(&self) -> Pixel {
        let [across, down] = self.spec.pixels;
        Pixel { right: 0.5 * f64::from(across), down: 0.5 * f64::from(down) }
    }

    /// Where a point that the camera sees at `seen` (mm, in the camera's own axes) falls.
    ///
    /// # Errors
    /// [`BehindCamera`] for a point at or behind the plane of the lens. Outside the picture is no error: ask
    /// [`Lens::in_picture`].
    pub(crate) fn project_seen<T: Real>(&self, seen: Vector<T>) -> Result<Pixel<T>, BehindCamera> {
        let ahead = -seen.z;
        if !(0.0 < ahead.value()) {
            return Err(BehindCamera { depth: seen.z.value() });
        }
        let ([across, down], middle) = (self.focal_pixels(), self.middle());
        Ok(Pixel {
            right: (seen.x / ahead).times(across) + T::constant(middle.right),
            down: T::constant(middle.down) - (seen.y / ahead).times(down),
        })
    }

    /// Where a point of the stage falls in the picture of a camera that stands at `camera`.
    ///
    /// # Errors
    /// As [`Lens::project_seen`].
    pub(crate) fn project<T: Real>(&self, camera: &Pose<T>, point: Vector<T>) -> Result<Pixel<T>, BehindCamera> {
        self.project_seen(camera.inward(point))
    }

    /// Speed of a point in the picture, pixels a frame, for camera and point in motion. With jets in which one channel alone moves, by one unit a frame, it is
    /// pixels per unit of that channel: times a step or a backlash, what it is worth in the picture.
    ///
    /// # Errors
    /// As [`Lens::project_seen`].
    pub(crate) fn speed(&self, camera: &Pose<Jet>, point: Vector<Jet>) -> Result<f64, BehindCamera> {
        let Pixel { right, down } = self.project(camera, point)?;
        Ok((right.v * right.v + down.v * down.v).sqrt())
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
        assert_eq!(lens().project_seen(Vector::new(0.0, 0.0, 5.0)).unwrap_err(), BehindCamera { depth: 5.0 });
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

    #[test]
    fn lenses_that_show_nothing_are_refused() {
        let spec = LensSpec { focal_length: f64::NAN, back: [0.0, 24.0], pixels: [0, 1024] };
        let found: Vec<(String, Option<usize>)> = Lens::new(spec).unwrap_err().into_iter().map(|f| (f.field, f.index)).collect();
        assert_eq!(found, [("focal_length".to_owned(), None), ("back".to_owned(), Some(0)), ("pixels".to_owned(), Some(0))]);
    }
}
