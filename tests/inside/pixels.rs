//! What one step and the backlash of camera and figure axes are worth in the picture.

use crate::inside::common::bodies::{around, body, groups, slide, turn, turning, v};
use crate::inside::common::{axis, checked, moving, shot};
use movewright::check::words;
use movewright::mechanism::{JointSpec, Lens, LensSpec};
use movewright::stage::Rod;

#[test]
fn steps_and_backlash_are_worth_pixels() {
    // 1500 pixels of focal length; the heron 3000 mm ahead: half a pixel a millimetre.
    let lens = Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap();
    let mut coarse = axis("bridge");
    coarse.backlash = Some(0.8);
    coarse.drive.travel_per_rev = 20.0;
    let mut camera =
        body("camera", vec![slide(0, [1.0, 0.0, 0.0]), turn(1, [0.0, 1.0, 0.0], [0.0; 3])], &["camera.track", "camera.pan"], vec![]);
    camera.lens = Some(lens);
    let mut heron =
        body("heron_a", vec![JointSpec { offset: [0.0, 0.0, -3000.0], ..slide(0, [1.0, 0.0, 0.0]) }], &["heron_a.bridge"], vec![]);
    heron.rods = vec![Rod { from: v([0.0; 3]), to: v([0.0, 500.0, 0.0]), limb: None }];
    let stage = groups(vec![("camera", vec![axis("track"), turning("pan")]), ("heron_a", vec![coarse, axis("unseen")])])
        .with_bodies(vec![camera, heron], around(0.0))
        .unwrap();
    let h = shot(&stage, (1, 3), &[], vec![moving(&stage, "picture", 1.0)]);
    let report = checked(&stage, &h);
    assert_eq!(report.passes[0].clearance, None);
    let by: Vec<(usize, f64, Option<f64>)> = report.pixels.iter().map(|p| (p.axis.index(), p.step, p.backlash)).collect();
    // Track: 0.01 mm a step. Pan: 1.8 deg a step, 1500 px a radian at the middle. Bridge: 0.1 mm a step, 0.8 mm of backlash.
    let expected = [(0, 0.5 * 0.01, None), (1, 1500.0 * 1.8_f64.to_radians(), None), (2, 0.5 * 0.1, Some(0.4))];
    assert_eq!(by.len(), 3, "{by:?}");
    for ((axis, step, backlash), (a, s, b)) in by.iter().zip(expected) {
        assert!(*axis == a && (step - s).abs() < 1e-9, "{by:?}");
        assert!(backlash.is_some() == b.is_some() && (backlash.unwrap_or(0.0) - b.unwrap_or(0.0)).abs() < 1e-9, "{by:?}");
    }
    let flagged: Vec<_> = report
        .notes
        .iter()
        .filter(|n| n.kind.name() == "pixels")
        .map(|n| (n.axis.unwrap().index(), words::note(&report.compiled, n)))
        .collect();
    assert_eq!(flagged.len(), 2, "{flagged:?}");
    assert_eq!((flagged[0].0, flagged[1].0), (1, 2));
    assert_eq!(flagged[1].1, "heron_a.bridge: backlash shows as 0.40 px (camera, frame 0.75)");
}
