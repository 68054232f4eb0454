//! The list of passes as CSV, for the people who run the day: `pass,light,stop,filters,start,end,exposures,notes`.
//!
//! Invariant: one row a pass, in their order; texts are quoted where they need it (RFC 4180). What is not known is empty.

use crate::check::pace::Paces;
use crate::compile::Compiled;

/// The text.
///
/// # Errors
/// None that these values can cause; passed on from the CSV library.
pub(crate) fn text(compiled: &Compiled, paces: &Paces) -> Result<String, csv::Error> {
    let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(Vec::new());
    csv.write_record(["pass", "light", "stop", "filters", "start", "end", "exposures", "notes"])?;
    for ((pass, p), slot) in compiled.shot().passes().iter().zip(&paces.passes).zip(&paces.day.slots) {
        let stop = p.stop.map_or(String::new(), |stop| format!("{stop:.1}"));
        let (filters, notes) = (pass.sheet().filters().unwrap_or_default(), pass.sheet().notes().unwrap_or_default());
        let (start, end) = (paces.day.clock(slot.start), paces.day.clock(slot.end));
        let exposures = slot.exposures.to_string();
        csv.write_record([pass.name(), p.light.as_deref().unwrap_or_default(), &stop, filters, &start, &end, &exposures, notes])?;
    }
    let bytes = csv.into_inner().map_err(|e| csv::Error::from(e.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
