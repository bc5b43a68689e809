"use strict";
// Fetches this page again when the agent says that there is something new, and puts in what
// changed of its parts. What was opened stays open, and what had the focus keeps it.
(() => {
  const link = document.getElementById("link");
  let told = null;
  let waiting = null;

  const say = (words) => {
    link.textContent = words;
    link.hidden = false;
  };

  const renew = async () => {
    waiting = null;
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (!answer.ok) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    document.title = fresh.title;
    for (const part of document.querySelectorAll("[data-part]")) {
      const next = fresh.getElementById(part.id);
      if (next !== null) replace(part, next);
    }
  };

  const replace = (part, next) => {
    const open = [...part.querySelectorAll("details[open]")].map((each) => each.id);
    for (const id of open) {
      const same = [...next.querySelectorAll("details")].find((each) => each.id === id);
      if (same !== undefined) same.open = true;
    }
    if (part.innerHTML === next.innerHTML) return;
    const focused = part.contains(document.activeElement) ? place(part) : null;
    part.replaceChildren(...next.childNodes);
    const again = focused === null ? undefined : part.querySelectorAll(FOCUSABLE)[focused];
    if (again !== undefined) again.focus({ preventScroll: true });
  };

  const FOCUSABLE = "a, summary, [tabindex]";
  const place = (part) => [...part.querySelectorAll(FOCUSABLE)].indexOf(document.activeElement);

  // All pages are told at once: each waits a moment of its own, and while nobody looks, for that.
  const news = () => {
    if (document.hidden || waiting !== null) return;
    waiting = setTimeout(() => renew().catch(() => {}), 1500 * Math.random());
  };

  const events = new EventSource("/events");
  events.onopen = () => say("Live: this page follows the agent.");
  events.onerror = () => say("The agent does not answer: what is shown may be old.");
  events.onmessage = (event) => {
    if (told !== null && told !== event.data) news();
    told = event.data;
  };
  document.addEventListener("visibilitychange", news);
})();
