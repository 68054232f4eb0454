//! Whether a convex outline touches the picture.
//!
//! It is asked of the lines that could part the two, the sides of either (separating axes, any textbook of computational geometry).

pub(crate) use crate::mechanism::convex::hull;

use crate::mechanism::convex::turn;
use crate::mechanism::{Lens, Pixel};

/// Where something is with respect to the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum State {
    /// Whole in the picture.
    In,
    /// Part of it is in the picture, part beyond an edge or behind the camera.
    Part,
    /// Before the camera, but beyond the edges of the picture.
    Out,
    /// All of it is behind the camera.
    Behind,
    /// It is before the camera, but so far off the axis that the distortion says nothing of it.
    Beyond,
}

impl State {
    /// `in_picture`, `part_in_picture`, `out_of_picture`, `behind_camera` or `beyond_distortion`, as in files.
    #[must_use]
    pub(crate) fn name(self) -> &'static str {
        match self {
            State::In => "in_picture",
            State::Part => "part_in_picture",
            State::Out => "out_of_picture",
            State::Behind => "behind_camera",
            State::Beyond => "beyond_distortion",
        }
    }
}

/// Where a convex outline of at least one corner, widened by `margin` pixels all round, is with respect to the picture.
#[must_use]
pub(crate) fn state(lens: &Lens, corners: &[Pixel], margin: f64) -> State {
    let [across, down] = lens.pixels().map(f64::from);
    let inside = |p: &Pixel| margin <= p.right && p.right <= across - margin && margin <= p.down && p.down <= down - margin;
    if corners.iter().all(inside) {
        return State::In;
    }
    let beyond = |far: &dyn Fn(&Pixel) -> f64| corners.iter().all(|p| far(p) > margin);
    let apart = beyond(&|p| -p.right) || beyond(&|p| p.right - across) || beyond(&|p| -p.down) || beyond(&|p| p.down - down);
    if apart || parted(corners, [across, down], margin) { State::Out } else { State::Part }
}

/// True where the whole picture lies further than `margin` outside one side of the outline.
fn parted(corners: &[Pixel], [across, down]: [f64; 2], margin: f64) -> bool {
    let edges = [(0.0, 0.0), (across, 0.0), (across, down), (0.0, down)].map(|(right, down)| Pixel { right, down });
    let ends = corners.iter().skip(1).chain(corners.first());
    corners.iter().zip(ends).any(|(a, b)| {
        let (x, y) = (b.right - a.right, b.down - a.down);
        let length = (x * x + y * y).sqrt();
        edges.iter().all(|c| turn(*a, *b, *c) < -margin * length)
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::mechanism::LensSpec;

    fn at(right: f64, down: f64) -> Pixel {
        Pixel { right, down }
    }

    fn lens() -> Lens {
        Lens::new(LensSpec { focal_length: 35.0, back: [36.0, 24.0], pixels: [300, 200] }).unwrap()
    }

    /// The line right + down = 80 passes through the picture's corner; right + down = -4 passes it outside, 4 / sqrt 2 = 2.83 px away, though
    /// its ends are not both beyond any one edge.
    #[test]
    fn lines_that_pass_a_corner() {
        assert_eq!(state(&lens(), &[at(-20.0, 100.0), at(100.0, -20.0)], 0.0), State::Part);
        let outside = [at(-44.0, 40.0), at(40.0, -44.0)];
        assert_eq!(state(&lens(), &outside, 0.0), State::Out);
        assert_eq!(state(&lens(), &outside, 2.82), State::Out);
        assert_eq!(state(&lens(), &outside, 2.84), State::Part);
    }

    #[test]
    fn edges_belong_to_the_picture() {
        assert_eq!(state(&lens(), &[at(0.0, 0.0), at(300.0, 200.0)], 0.0), State::In);
        assert_eq!(state(&lens(), &[at(0.0, 0.0), at(300.0, 200.0)], 0.5), State::Part);
        assert_eq!(state(&lens(), &[at(300.0, 10.0), at(400.0, 10.0)], 0.0), State::Part);
        assert_eq!(state(&lens(), &[at(301.0, 10.0), at(400.0, 10.0)], 0.0), State::Out);
    }
}
