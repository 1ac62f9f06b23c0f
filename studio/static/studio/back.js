// A browser may keep a whole page for going back to it. It is loaded anew where somebody signed
// out or in meanwhile: the mark for forms is another one then, and what was typed stays otherwise.
"use strict";

// Other programs of this machine keep their cookies beside ours.
const markNow = () => document.cookie.split("; ").find((one) => one.includes("csrftoken="));
const mark = markNow();

addEventListener("pageshow", (shown) => {
  if (shown.persisted && markNow() !== mark) {
    document.documentElement.hidden = true;
    location.reload();
  }
});
