"use strict";
// Keeps an open page new: it listens to the place that it came from. Texts only ever become textContent.
(() => {
  const $ = (id) => document.getElementById(id);
  const say = (text, more) => { $("live_state").textContent = text; $("live_text").textContent = more ?? ""; $("live_text").hidden = !more; };
  const pending = (yes) => document.body.classList.toggle("pending", yes);
  const tell = (detail) => document.dispatchEvent(new CustomEvent("fresh", { detail }));
  async function page(since) {
    const fresh = new DOMParser().parseFromString(await (await fetch("/")).text(), "text/html");
    if (!$("data")) { location.reload(); return; }
    for (const part of document.querySelectorAll("[data-fresh]")) {
      const now = fresh.querySelector(`[data-fresh="${part.dataset.fresh}"]`);
      if (now) part.replaceChildren(...now.childNodes);
    }
    document.title = fresh.title;
    tell(JSON.parse(fresh.getElementById("data").textContent));
    pending(false);
    document.body.classList.remove("mistaken");
    say("checked" + (since ? "; since the last good state:" : ""), since);
  }
  const events = new EventSource("/events");
  events.addEventListener("curves", (e) => { tell(JSON.parse(e.data)); pending(true); document.body.classList.remove("mistaken"); say("curves and places are new; the verdict is pending"); });
  events.addEventListener("checked", (e) => { page(JSON.parse(e.data).since); });
  events.addEventListener("mistakes", (e) => { pending(false); document.body.classList.add("mistaken"); say("the files have mistakes; what is drawn is the last good state", JSON.parse(e.data)); });
  events.onerror = () => say("nobody answers: the program that serves this page has ended, or too many pages are open");
})();
