// Sets the light or dark look before anything is drawn: the reader's choice, else the system's.
(function () {
  "use strict";
  let chosen = null;
  try {
    chosen = window.localStorage.getItem("shedbook-look");
  } catch (blocked) {
    chosen = null;
  }
  const dark = window.matchMedia("(prefers-color-scheme: dark)").matches;
  document.documentElement.dataset.mantineColorScheme = chosen || (dark ? "dark" : "light");
})();
