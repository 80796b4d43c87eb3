// Sends a form and shows the answer in place. Without this file the browser does the same with a page load.
"use strict";
document.addEventListener("submit", async (event) => {
  const form = event.target;
  // What only looks, and what leads to another page, the browser does by itself.
  if (form.method !== "post" || form.hasAttribute("data-whole")) return;
  const main = document.getElementById("main");
  if (main.getAttribute("aria-busy") === "true") {
    event.preventDefault();
    return;
  }
  event.preventDefault();
  const data = new URLSearchParams(new FormData(form, event.submitter));
  main.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(form.action, { method: "POST", body: data });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    main.replaceChildren(...page.getElementById("main").childNodes);
    document.title = page.title;
    const heading = main.querySelector("[role=alert], h1");
    heading.tabIndex = -1;
    heading.focus();
    window.scrollTo(0, 0);
  } catch {
    // Nothing came back: the page itself says so when it is loaded again.
    window.location.assign(main.dataset.home);
  }
  main.removeAttribute("aria-busy");
});
