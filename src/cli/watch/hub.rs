//! What goes out to every open page: the newest page, and what happened since.
//!
//! Invariant: messages have rising numbers; a page that opens late gets the newest message of each kind, once. Only the newest message of a kind is kept.

use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::Duration;

use serde::Serialize;

/// A message of the stream: its kind, and its text in one line.
#[derive(Debug, Clone)]
pub(super) struct Message {
    pub(super) number: u64,
    pub(super) kind: &'static str,
    pub(super) text: Arc<str>,
}

#[derive(Debug, Default)]
struct State {
    number: u64,
    page: Option<Arc<str>>,
    /// The newest of each kind, oldest first.
    messages: Vec<Message>,
}

/// Shared between who compiles and who serves.
#[derive(Debug, Default)]
pub(super) struct Hub {
    state: Mutex<State>,
    news: Condvar,
}

#[derive(Serialize)]
struct Checked<'a> {
    since: &'a str,
}

impl Hub {
    /// Curves and places that changed, as JSON; the verdict is pending.
    pub(super) fn curves(&self, json: &str) {
        self.publish("curves", json.to_owned(), None, &["mistakes"]);
    }

    /// A whole page with its verdict, and what changed since the last good state.
    pub(super) fn page(&self, text: String, since: &str) {
        let message = serde_json::to_string(&Checked { since }).unwrap_or_default();
        self.publish("checked", message, Some(text), &["curves", "mistakes"]);
    }

    /// Mistakes, as text.
    pub(super) fn mistakes(&self, text: &str) {
        self.publish("mistakes", serde_json::to_string(text).unwrap_or_default(), None, &[]);
    }

    fn publish(&self, kind: &'static str, text: String, page: Option<String>, over: &[&str]) {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.number += 1;
        let number = state.number;
        state.messages.retain(|m| m.kind != kind && !over.contains(&m.kind));
        state.messages.push(Message { number, kind, text: text.into() });
        if let Some(page) = page {
            state.page = Some(page.into());
        }
        self.news.notify_all();
    }

    /// The newest page.
    pub(super) fn newest(&self) -> Option<Arc<str>> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner).page.clone()
    }

    /// What is news after a number; empty where nothing comes for a while.
    pub(super) fn after(&self, number: u64, patience: Duration) -> Vec<Message> {
        let state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        let nothing_new = |state: &mut State| state.number <= number;
        let (state, _) = self.news.wait_timeout_while(state, patience, nothing_new).unwrap_or_else(PoisonError::into_inner);
        state.messages.iter().filter(|m| m.number > number).cloned().collect()
    }
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn a_page_that_opens_late_gets_the_newest_of_each_kind_in_order() {
        let hub = Hub::default();
        hub.page("<p>".to_owned(), "");
        hub.curves("1");
        hub.curves("2");
        hub.mistakes("line 3");
        let got = hub.after(0, Duration::ZERO);
        assert_eq!(
            got.iter().map(|m| (m.kind, &*m.text)).collect::<Vec<_>>(),
            [("checked", "{\"since\":\"\"}"), ("curves", "2"), ("mistakes", "\"line 3\"")]
        );
        assert!(hub.after(got[2].number, Duration::ZERO).is_empty());
        // A checked page is newer than what stood before it.
        hub.page("<p>".to_owned(), "camera.track");
        assert_eq!(hub.after(0, Duration::ZERO).iter().map(|m| m.kind).collect::<Vec<_>>(), ["checked"]);
    }
}
