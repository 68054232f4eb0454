//! What a record of takes says of each pass, as a table; it needs no script.

use maud::{Markup, html};

use crate::output::takes::PassRecord;

/// One row for each pass; nothing where no record was asked for.
pub(super) fn takes(records: Option<&[PassRecord]>) -> Markup {
    let Some(records) = records else { return html! {} };
    html! {
        section {
            h2 { "Takes" }
            div.scroll { table {
                thead { tr { th { "pass" } th { "state" } th { "frames" } th { "good takes" } th { "bad takes" } th { "stale takes" } } }
                tbody { @for r in records {
                    tr { td { (r.pass) } td { (r.state()) } td { (spans(&r.frames)) } td { (r.good_takes) } td { (r.bad_takes) } td { (r.stale_takes) } }
                } }
            } }
            p { "From the record of takes. A good take is stale if its output folder was compiled again with another result. "
                "Whether this shot is still the one in the folder: movewright changes DIR SHOT." }
        }
    }
}

/// The frames that good takes cover.
fn spans(frames: &[[i64; 2]]) -> String {
    let span = |[first, last]: &[i64; 2]| if first == last { first.to_string() } else { format!("{first} to {last}") };
    if frames.is_empty() { "-".to_owned() } else { frames.iter().map(span).collect::<Vec<_>>().join(", ") }
}
