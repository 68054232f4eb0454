//! Clean plates that are sharp where the picture is blurred.
//!
//! What: a held pass that parks groups is a clean plate without motion blur. Beside a moving pass that photographs those groups it gets a note, unless a
//! moving pass with the same shutter leaves the same groups out: that one has the blur of the picture. Nothing is noted where all that the held pass
//! moves stands still in the picture too: then both are sharp. Common practice, no source.
//!
//! Limits: stop, light and haze of a pass are not known here; the sentence names them.

use super::notes::{Note, NoteKind};
use crate::compile::Compiled;
use crate::shot::{Exposure, Pass};
use crate::stage::GroupId;

/// One note for each held clean pass that has no moving one in its place.
pub(super) fn notes(compiled: &Compiled) -> Vec<Note> {
    let passes = compiled.shot().passes();
    let sharp = passes.iter().filter(|p| p.exposure() == Exposure::Held && blurs(compiled, p));
    let found = sharp.filter_map(|held| {
        let photographs = |p: &&Pass| p.exposure() == Exposure::Moving && held.park().iter().any(|g| !p.park().contains(g));
        let moving = passes.iter().find(|p| photographs(p) && !has_plate(passes, p, held.park()))?;
        let kind = NoteKind::SharpPlate { held: held.name().to_owned(), moving: moving.name().to_owned() };
        Some(Note { axis: None, frame: None, value: None, kind })
    });
    found.collect()
}

/// True where something that the pass does not park moves: a moving exposure of it is blurred.
fn blurs(compiled: &Compiled, pass: &Pass) -> bool {
    let stage = compiled.stage();
    stage.axis_ids().any(|id| !pass.parks(stage, id) && !compiled.motion(id).never_moves())
}

/// True where a moving pass with the shutter of `picture` leaves these groups out.
fn has_plate(passes: &[Pass], picture: &Pass, groups: &[GroupId]) -> bool {
    let matches = |p: &&Pass| p.exposure() == Exposure::Moving && p.shutter() == picture.shutter();
    passes.iter().filter(matches).any(|p| groups.iter().all(|g| p.park().contains(g)))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::check::{fixture, words};
    use crate::shot::Shape;
    use crate::stage::{AxisSpec, Stage, Unit};

    const MOVING: Exposure = Exposure::Moving;
    const HELD: Exposure = Exposure::Held;

    /// Camera and heron; the camera goes this far; passes p0, p1 and so on of exposure, shutter and whether the heron is parked. What is noted, in words.
    fn noted(far: f64, passes: &[(Exposure, f64, bool)]) -> Vec<String> {
        let group = |name: &str| fixture::group(name, vec![AxisSpec::new("slide", Unit::Millimetre, [-100.0, 100.0], [1e6, 1e6, 1e6])]);
        let stage = Stage::new("marsh", 1.0, vec![group("camera"), group("heron")]).unwrap();
        let heron = stage.group_of_name("heron").unwrap();
        let pass = |(i, (exposure, shutter, parks)): (usize, &(Exposure, f64, bool))| {
            let park = if *parks { vec![heron] } else { Vec::new() };
            Pass::new(&stage, &format!("p{i}"), *exposure, 10.0, *shutter, 0.0, park).unwrap()
        };
        let passes = passes.iter().enumerate().map(pass).collect();
        let tracks = [("camera.slide", far), ("heron.slide", 20.0)]
            .map(|(channel, to)| fixture::track(&stage, channel, Shape::MinimumJerk, &[(1.0, 0.0), (24.0, to)]));
        let compiled = fixture::compiled(stage.clone(), (1, 24), tracks.to_vec(), passes);
        notes(&compiled).iter().map(|n| words::note(&compiled, n)).collect()
    }

    #[test]
    fn a_held_clean_pass_beside_a_moving_picture_is_noted() {
        let sentence = "pass p1 stops for each exposure, pass p0 moves: a sharp clean plate cannot patch a blurred picture; \
                        add a moving clean pass with the shutter and stop of p0, gobos running";
        assert_eq!(noted(20.0, &[(MOVING, 180.0, false), (HELD, 180.0, true)]), [sentence]);
        // A moving clean pass with another shutter has another blur.
        assert_eq!(noted(20.0, &[(MOVING, 180.0, false), (HELD, 180.0, true), (MOVING, 90.0, true)]), [sentence]);
    }

    #[test]
    fn nothing_is_noted_where_the_plate_has_the_blur_of_the_picture() {
        for passes in [
            // A moving clean pass is there, at whatever pace.
            &[(MOVING, 180.0, false), (HELD, 180.0, true), (MOVING, 180.0, true)][..],
            // All are held: all are sharp.
            &[(HELD, 180.0, false), (HELD, 180.0, true)],
            // The held pass is no clean pass.
            &[(MOVING, 180.0, false), (HELD, 180.0, false)],
            // Every moving pass leaves the heron out as well.
            &[(MOVING, 180.0, true), (HELD, 180.0, true)],
        ] {
            assert!(noted(20.0, passes).is_empty(), "{passes:?}");
        }
        // Camera and all else stand: a moving plate is as sharp.
        assert!(noted(0.0, &[(MOVING, 180.0, false), (HELD, 180.0, true)]).is_empty());
    }
}
