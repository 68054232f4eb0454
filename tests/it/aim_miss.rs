//! Where no angles in range aim at a target, the miss in the message is the least one, compared with a search of both ranges by grids.

use crate::generator::Generator;

use crate::case::{Case, STAGE, axis, pass, shot};

/// The angle between line of sight and target, deg. The camera turns by `pan` about up, then, `arm` further on, by `tilt` about its right; its entrance pupil lies 90 mm
/// ahead of that and looks along -z.
fn miss(pan: f64, tilt: f64, arm: [f64; 3], target: [f64; 3]) -> f64 {
    let ((sp, cp), (st, ct)) = (pan.to_radians().sin_cos(), tilt.to_radians().sin_cos());
    // Back through the pan, the arm, the tilt and the pupil.
    let [x, y, z] = target;
    let [x, y, z] = [x * cp - z * sp - arm[0], y - arm[1], x * sp + z * cp - arm[2]];
    let [y, z] = [y * ct + z * st, -y * st + z * ct + 90.0];
    (x * x + y * y).sqrt().atan2(-z).to_degrees()
}

/// The least miss over both ranges: a grid, made finer around its best place.
fn least(ranges: [[f64; 2]; 2], arm: [f64; 3], target: [f64; 3]) -> f64 {
    let (mut window, mut best) = (ranges, (f64::INFINITY, [0.0; 2]));
    for _ in 0..14 {
        let place = |range: [f64; 2], i: i32| range[0] + (range[1] - range[0]) * f64::from(i) / 60.0;
        for i in 0..=60 {
            for j in 0..=60 {
                let at = [place(window[0], i), place(window[1], j)];
                let off = miss(at[0], at[1], arm, target);
                if off < best.0 {
                    best = (off, at);
                }
            }
        }
        for k in 0..2 {
            let half = (window[k][1] - window[k][0]) / 12.0;
            window[k] = [ranges[k][0].max(best.1[k] - half), ranges[k][1].min(best.1[k] + half)];
        }
    }
    best.0
}

#[test]
fn the_nearest_miss_is_the_least_in_both_ranges() {
    let mut g = Generator::new(8);
    let (mut missed, mut better) = (0, 0);
    while missed < 12 {
        let mut within = |from: f64, to: f64| (from + (to - from) * g.unit()).round();
        let ranges = [[within(-40.0, -5.0), within(5.0, 40.0)], [within(-40.0, -5.0), within(5.0, 80.0)]];
        let arm = if within(0.0, 1.0) < 0.5 { [150.0, 60.0, -100.0] } else { [0.0, 120.0, 0.0] };
        let (azimuth, height, distance) = (within(-70.0, 70.0).to_radians(), within(-60.0, 75.0).to_radians(), within(600.0, 4000.0));
        let target =
            [-distance * height.cos() * azimuth.sin(), distance * height.sin(), -distance * height.cos() * azimuth.cos()].map(f64::round);
        let nearest = least(ranges, arm, target);
        if nearest < 0.1 {
            continue;
        }
        missed += 1;
        let turns = ["pan", "tilt"].iter().zip(ranges).map(|(name, [least, most])| axis(name, "deg", [least, most], [1e3, 1e3, 1e4], ""));
        let joints = format!(
            "[[group.joint]]\nturn = [0, 1, 0]\nchannel = \"pan\"\n[[group.joint]]\nturn = [1, 0, 0]\nchannel = \"tilt\"\noffset = {arm:?}\n[[group.joint]]\noffset = [0, 0, -90]\n"
        );
        let lens = "[group.lens]\nfocal_length = 24\nfilm_back = [24.9, 18.7]\npixels = [4096, 3072]\n";
        let stage = format!("{STAGE}[[group]]\nname = \"camera\"\n{}{joints}{lens}", turns.collect::<String>());
        let aim = format!("aim = [{{ camera = \"camera\", channels = [\"pan\", \"tilt\"], offset = {target:?} }}]\n");
        let said = Case::new(&stage, &(shot([1, 3], "", &pass("p", "moving", 12.0)) + &aim)).refusal();
        let told =
            said.split("the nearest miss it by ").nth(1).unwrap_or_else(|| panic!("{said}")).split(' ').next().unwrap().parse::<f64>();
        let told = told.unwrap();
        // The grids end at some 1e-9 deg.
        assert!((told - nearest).abs() < 1e-6, "{ranges:?} {arm:?} {target:?}: {told} instead of {nearest}");
        // Each channel alone brought into its range is no answer.
        let alone = [azimuth.to_degrees(), height.to_degrees()];
        let alone = [0, 1].map(|k| alone[k].clamp(ranges[k][0], ranges[k][1]));
        better += i32::from(nearest < miss(alone[0], alone[1], arm, target) - 0.01);
    }
    assert!(better >= 4, "{better}");
}
