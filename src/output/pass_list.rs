//! The list of passes as CSV, for the people who run the day: `pass,light,stop,filters,start,end,exposures,notes`, and with a record of takes
//! `frames_shot,frames_exposed,good_takes,bad_takes,stale_takes`.
//!
//! Invariant: one row a pass, in their order; texts are quoted where they need it (RFC 4180). What is not known is empty.

use super::takes::PassRecord;
use crate::check::pace::Paces;
use crate::compile::Compiled;

/// The text. `takes`: what the record says of each pass, where one was asked for.
///
/// # Errors
/// None that these values can cause; passed on from the CSV library.
pub(crate) fn text(compiled: &Compiled, paces: &Paces, takes: Option<&[PassRecord]>) -> Result<String, csv::Error> {
    let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(Vec::new());
    let of_takes: &[&str] =
        if takes.is_some() { &["frames_shot", "frames_exposed", "good_takes", "bad_takes", "stale_takes"] } else { &[] };
    csv.write_record(["pass", "light", "stop", "filters", "start", "end", "exposures", "notes"].iter().chain(of_takes))?;
    for ((pass, p), slot) in compiled.shot().passes().iter().zip(&paces.passes).zip(&paces.day.slots) {
        let stop = p.stop.map_or(String::new(), |stop| format!("{stop:.1}"));
        let (filters, notes) = (pass.sheet().filters().unwrap_or_default(), pass.sheet().notes().unwrap_or_default());
        let (start, end) = (paces.day.clock(slot.start), paces.day.clock(slot.end));
        let exposures = slot.exposures.to_string();
        let takes = takes.and_then(|takes| takes.iter().find(|record| record.pass == pass.name())).map(|t| {
            let takes = [t.good_takes, t.bad_takes, t.stale_takes].map(|n| n.to_string());
            [t.frames_shot, t.frames_exposed].map(|n| n.to_string()).into_iter().chain(takes).collect::<Vec<_>>()
        });
        let cells = [pass.name(), p.light.as_deref().unwrap_or_default(), &stop, filters, &start, &end, &exposures, notes];
        csv.write_record(cells.into_iter().chain(takes.iter().flatten().map(String::as_str)))?;
    }
    let bytes = csv.into_inner().map_err(|e| csv::Error::from(e.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
