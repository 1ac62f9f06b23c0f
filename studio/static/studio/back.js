// A browser may keep a whole page for going back to it. It is loaded anew where somebody signed
// out or in meanwhile: the mark for forms is another one then, and what was typed stays otherwise.
"use strict";

const mark = document.cookie;

addEventListener("pageshow", (shown) => {
  if (shown.persisted && document.cookie !== mark) {
    document.documentElement.hidden = true;
    location.reload();
  }
});
