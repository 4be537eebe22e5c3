// The page says everything without this script: it only links drawings and tables, and serves two buttons.
(() => {
  const acts = document.querySelector(".acts");
  if (acts) acts.hidden = false;
  const root = document.documentElement;
  acts?.querySelector("[data-act=theme]").addEventListener("click", () => {
    const dark = root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    root.dataset.theme = dark ? "light" : "dark";
  });
  acts?.querySelector("[data-act=print]").addEventListener("click", () => print());
  addEventListener("beforeprint", () => document.querySelectorAll("details").forEach((d) => { d.dataset.was = d.open; d.open = true; }));
  addEventListener("afterprint", () => document.querySelectorAll("details").forEach((d) => { d.open = d.dataset.was === "true"; }));
  const light = (place) => document.querySelectorAll("[data-anchor]").forEach((e) => e.classList.toggle("is-lit", e.dataset.anchor === place));
  for (const event of ["pointerover", "focusin"]) {
    document.addEventListener(event, (e) => {
      const found = e.target.closest?.("[data-anchor]");
      light(found ? found.dataset.anchor : "");
    });
  }
  document.querySelectorAll("tr[data-anchor]").forEach((row) => { row.tabIndex = 0; });
})();
