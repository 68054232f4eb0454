//! Retimed splines against golden values of a numerical library.
//!
//! Golden: `fixtures/retimes/retimed.csv`, written by `make_goldens.py` beside it with scipy: the composition multiplied out as one polynomial, without a chain rule.
//! Each value to 1e-10 of the track's size, and of that over frames, frames^2 and frames^3 for the derivatives, with the least distance of two knots as the frame.

use movewright::signal::{AxisSignal, Layers};

use crate::inside::common::inputs::Sized;

fn golden() -> String {
    std::fs::read_to_string(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/retimes/retimed.csv")).unwrap()
}

#[test]
fn retimed_splines_are_those_of_a_numerical_library() {
    let text = golden();
    let cases: Vec<String> = text
        .lines()
        .filter(|l| l.starts_with('#') && l.contains('|'))
        .map(|line| {
            let mut parts = line.split('|').skip(1);
            let track = format!("[[track]]\nchannel = \"g0.x\"\nkeys = {}\n", parts.next().unwrap());
            parts.fold(track, |text, retime| text + "[[retime]]\n" + &retime.replace("; ", "\n") + "\n")
        })
        .collect();
    let loaded: Vec<_> = cases.iter().map(|layers| Sized { layers: layers.clone(), ..Sized::default() }.inputs().load().unwrap()).collect();
    let mut compared = 0;
    for line in text.lines().filter(|l| l.starts_with(|c: char| c.is_ascii_digit())) {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let [case, t, want @ ..] = cells.as_slice() else { panic!("{line}") };
        let loaded = &loaded[*case as usize];
        let layers = Layers::of(&loaded.shot, movewright::bounds::Budget::Usual, None).unwrap();
        let signal = AxisSignal::of(&loaded.stage, &loaded.shot, &layers, loaded.stage.axis_of_name("g0.x").unwrap()).unwrap();
        let found = signal.jet(*t, *t);
        for (k, (found, want)) in [found.p, found.v, found.a, found.j].into_iter().zip(want).enumerate() {
            // Values up to 400 over gaps of 4 frames and more.
            let size = 400.0 / 4_f64.powi(k as i32);
            assert!((found - want).abs() <= 1e-10 * size, "{line}: derivative {k}: {found}");
            compared += 1;
        }
    }
    assert!(compared > 900, "{compared}");
}
