//! What a page that follows every save takes over from the state before: the same as without, and less work.
//!
//! What: edits of the demo and of a shot with one of everything, of each kind that a morning brings; curves, check, drawing and page are compared with those of a shot that is computed whole.

use movewright::bounds::{Budget, Effort};
use movewright::check::Report;
use movewright::compile::Compiled;
use movewright::page::{self, Drawn, Pictured};

use crate::inside::common::inputs::Inputs;

/// A state with all that is kept of it.
struct State {
    compiled: Compiled,
    drawn: Drawn,
    report: Report,
    pictured: Pictured,
    page: String,
}

fn state(inputs: &Inputs, before: Option<&State>) -> State {
    let loaded = inputs.load().unwrap_or_else(|r| panic!("{r}"));
    let compiled = Compiled::following(Budget::Usual, loaded.stage, loaded.shot, before.map(|b| &b.compiled)).unwrap();
    let drawn = page::drawn(&compiled, None, before.map(|b| (&b.compiled, &b.drawn))).unwrap();
    let report = compiled.checked_after(before.map(|b| &b.report)).unwrap();
    let pictured = page::pictured(&report.compiled, before.map(|b| (&b.report.compiled, &b.pictured))).unwrap();
    let page = page::live(&report, &drawn, &pictured, false).unwrap();
    State { compiled, drawn, report, pictured, page }
}

/// The work of curves, and of clearance.
fn work(state: &State) -> [u64; 2] {
    [state.compiled.work().used(Effort::Places), state.report.compiled.work().used(Effort::Boxes)]
}

/// The edit as a page follows it is what it is alone; the work of both.
fn followed(folder: &str, file: &str, from: &str, to: &str) -> [[u64; 2]; 2] {
    follows(&Inputs::of(folder), file, from, to)
}

fn follows(old: &Inputs, file: &str, from: &str, to: &str) -> [[u64; 2]; 2] {
    let new = old.clone().with(file, from, to);
    let before = state(old, None);
    let (alone, after) = (state(&new, None), state(&new, Some(&before)));
    for id in alone.compiled.stage().axis_ids() {
        let name = alone.compiled.stage().axis_name(id);
        assert_eq!(alone.compiled.motion(id).curve(), after.compiled.motion(id).curve(), "{to}: {name}");
    }
    assert!(alone.drawn.since(&after.drawn) == after.drawn.since(&after.drawn), "{to}: drawn");
    assert_eq!(alone.report.json().unwrap(), after.report.json().unwrap(), "{to}");
    assert!(alone.page == after.page, "{to}: the page differs");
    [work(&alone), work(&after)]
}

#[test]
fn an_edit_of_one_figure_costs_what_hangs_on_it() {
    // A figure that nobody copies, and that the camera does not follow.
    let [alone, after] = followed(
        "herons",
        "shot.toml",
        "keys = [[50, 0.0], [96, -4.0], [150, 3.5], [236, 0.0]]",
        "keys = [[50, 0.0], [96, -3.0], [150, 3.5], [236, 0.0]]",
    );
    assert!(after[0] * 4 < alone[0] && after[1] < alone[1], "{alone:?} {after:?}");
    // A line more, before all others: places move, curves do not.
    let [alone, after] = followed("herons", "shot.toml", "[[track]]", "# so\n\n[[track]]");
    assert!(after == [0, 0] && alone[0] > 0 && alone[1] > 0, "{alone:?} {after:?}");
}

#[test]
fn every_kind_of_edit_shows_what_it_shows_alone() {
    for (file, from, to) in [
        ("shot.toml", "delay = 3\n", "delay = 4\n"),
        ("shot.toml", "keys = [[1, 1], [12, 12], [16, 12], [40, 36]]", "keys = [[1, 1], [10, 10], [14, 10], [40, 36]]"),
        ("shot.toml", "seed = 101", "seed = 102"),
        ("shot.toml", "period = 12\nphase", "period = 13\nphase"),
        ("shot.toml", "smooth = 6", "smooth = 8"),
        ("shot.toml", "without = [\"heave\"]", "without = []"),
        ("shot.toml", "offset_keys = [[1, -60", "offset_keys = [[1, -50"),
        ("shot.toml", "seconds_per_frame = 12", "seconds_per_frame = 14"),
        ("shot.toml", "settle = 1.5", "settle = 2.5"),
        ("shot.toml", "park = [\"heron_b\"]", "park = []"),
        ("shot.toml", "frames = [1, 36]", "frames = [2, 35]"),
        ("shot.toml", "frames = [1, 36]", "cycle_start = 3\nframes = [1, 36]"),
        (
            "shot.toml",
            "[[drift]]\nchannel = \"gobo.turn\"",
            "[[track]]\nchannel = \"heron_b.wing\"\nkeys = [[1, 2.0]]\n\n[[drift]]\nchannel = \"gobo.turn\"",
        ),
        (
            "shot.toml",
            "[[pass]]\nname = \"empty\"",
            "[[pass]]\nname = \"more\"\nexposure = \"moving\"\nseconds_per_frame = 20\nshutter = 90\n\n[[pass]]\nname = \"empty\"",
        ),
        ("nod.toml", "keys", " keys"),
    ] {
        followed("costs", file, from, to);
    }
}

/// A camera and a figure that nothing moves are seen in every frame, also in those that an edit adds.
#[test]
fn what_stands_still_is_seen_in_new_frames_too() {
    let axis = |name: &str| {
        format!(
            "[[group.axis]]\nname = \"{name}\"\nunit = \"mm\"\ntravel = [-10, 500]\nmax_velocity = 20\nmax_acceleration = 20\nmax_jerk = 50\nmotor = \"m\"\ntravel_per_rev = 5\n"
        )
    };
    let stage = format!(
        "format = 1\nname = \"Marsh\"\n[motor.m]\nfull_steps_per_rev = 200\n[[group]]\nname = \"camera\"\n{}[[group.joint]]\noffset = [0, 0, 0]\n\
         [group.lens]\nfocal_length = 24\nfilm_back = [24.9, 18.7]\npixels = [4096, 3076]\n[[group]]\nname = \"heron\"\n{}[[group.joint]]\noffset = [0, 0, -2000]\n\
         [[group.envelope]]\nfrom = [0, 0, -20]\nto = [0, 0, 20]\nradius = 15\n",
        axis("iris"),
        axis("bell")
    );
    let shot = "format = 1\nname = \"Still\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 12]\n[[pass]]\nname = \"picture\"\nexposure = \"moving\"\n\
                seconds_per_frame = 10\nshutter = 180\n[[track]]\nchannel = \"heron.bell\"\nkeys = [[1, 0], [12, 5]]\n";
    follows(&Inputs::new(stage, shot.to_owned()), "shot.toml", "frames = [1, 12]", "frames = [1, 20]");
}
