//! A recording as a routine: the TOML text, and the CSV text of recorded curves where there are some.
//!
//! Invariant: both are read by Movewright as they are. Frame 1 of the routine is the first row of the recording. Numbers have six decimals: a millionth of a mm.

use core::fmt::Write as _;

use crate::number::figures;
use crate::study::performance::Performance;
use crate::study::rig_beat::RigBeat;
use crate::study::{Markers, Study};

/// How a routine of ours begins.
pub(crate) const BEGINS: &str = "# A routine that `movewright study` wrote.\n";
/// How it ends, the line end left out.
pub(crate) const ENDS: &str = "# End of the routine.";

/// What stands beside the numbers.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Written<'a> {
    /// Name of the recording's file.
    pub(crate) recording: &'a str,
    /// Frames per second at projection.
    pub(crate) rate: f64,
    /// The same as written.
    pub(crate) rate_text: &'a str,
    /// Name of the file of recorded curves, as the routine names it.
    pub(crate) curves: &'a str,
}

/// Name of a drive's channel.
pub(crate) fn channel(drive: usize) -> String {
    format!("drive_{}", drive + 1)
}

/// The routine.
pub(crate) fn toml(markers: &Markers, study: &Study, played: &Performance, written: Written<'_>) -> String {
    let mut t = BEGINS.to_owned();
    let first = study.times.first().copied().unwrap_or(0.0);
    // Writing to text cannot fail.
    let _ =
        writeln!(t, "# Recording: {}. Frame 1 is {first:.3} s of it, at {} frames/s.", in_comment(written.recording), written.rate_text);
    let _ = writeln!(t, "# No marker is more than {:.3} mm from where it was recorded.", played.worst);
    if let Some(held_out) = played.held_out {
        let _ = writeln!(
            t,
            "# Every second beat, left out of the fit: no more than {held_out:.3} mm{}.",
            if played.recorded.is_some() { " with the beats alone" } else { "" }
        );
    }
    for drive in 0..played.drives {
        let reach = study.drives.reaches(drive, markers.dimensions());
        let [low, high] = study.drives.range(drive);
        if let Some(far) = reach.first() {
            let name = markers.names().get(far.marker).map_or("", String::as_str);
            let _ = writeln!(t, "# {}: {low:.1} to {high:.1} mm, moves {} by {:.1} mm", channel(drive), in_comment(name), far.travel);
        }
    }
    t += "format = 1\ncycle_start = 1\n";
    if let Some((beat, period)) = &played.beat {
        for drive in 0..played.drives {
            let keys: Vec<String> = beat.keys(drive).into_iter().map(|(beat, value)| format!("[{beat:.9}, {value:.6}]")).collect();
            let _ = write!(
                t,
                "\n[[cycle]]\nchannel = \"{}\"\nperiod = {:.9}\nkeys = [{}]\n",
                channel(drive),
                period * written.rate,
                keys.join(", ")
            );
        }
    }
    if let Some(recorded) = &played.recorded {
        let _ = write!(t, "\n[[track]]\nsamples = \"{}\"\nwithin = {:.6}\n", written.curves, closer(recorded.within));
    }
    t + "\n" + ENDS + "\n"
}

/// The routine of a group's own channels.
pub(crate) fn of_group(study: &Study, group: &str, played: &RigBeat, written: Written<'_>) -> String {
    let mut t = BEGINS.to_owned();
    let first = study.times.first().copied().unwrap_or(0.0);
    // Writing to text cannot fail.
    let _ =
        writeln!(t, "# Recording: {}. Frame 1 is {first:.3} s of it, at {} frames/s.", in_comment(written.recording), written.rate_text);
    let (worst, held_out) = (figures::most(played.worst, "mm"), figures::most(played.held_out, "mm"));
    let _ = writeln!(t, "# On {group} no marker is more than {worst} from where it was recorded.");
    let _ = writeln!(t, "# Every second beat, left out of the fit: no more than {held_out}.");
    t += "format = 1\ncycle_start = 1\n";
    for (channel, keys) in &played.channels {
        let own = channel.strip_prefix(group).and_then(|rest| rest.strip_prefix('.')).unwrap_or(channel);
        let keys: Vec<String> = keys.iter().map(|(beat, value)| format!("[{beat:.9}, {value:.6}]")).collect();
        let period = played.period * written.rate;
        let _ = write!(t, "\n[[cycle]]\nchannel = \"{own}\"\nperiod = {period:.9}\nkeys = [{}]\n", keys.join(", "));
    }
    t + "\n" + ENDS + "\n"
}

/// Header and rows of the recorded curves.
pub(crate) fn csv(played: &Performance, times: &[f64]) -> Option<(String, String)> {
    let recorded = played.recorded.as_ref()?;
    let header = core::iter::once("time_s".to_owned()).chain((0..played.drives).map(channel)).collect::<Vec<_>>().join(",");
    let first = times.first().copied().unwrap_or(0.0);
    let mut t = format!("{header}\n");
    for (time, row) in times.iter().zip(&recorded.samples) {
        let _ = write!(t, "{:.9}", time - first);
        row.iter().for_each(|x| _ = write!(t, ",{x:.6}"));
        t += "\n";
    }
    Some((header, t))
}

/// A little less than `within`: samples and distance are rounded to a millionth.
fn closer(within: f64) -> f64 {
    const MILLION: f64 = 1e6;
    (within * MILLION - 1.0).floor() / MILLION
}

/// Text for a comment: what would end the line is left away.
fn in_comment(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).collect()
}
