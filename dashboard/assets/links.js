// Links that change the address without loading the page again, and pictures to take along.
(function () {
  "use strict";
  const CHOICES = [
    "clock", "counting", "since", "until", "level", "class", "depot", "locomotive", "component", "defect",
  ];

  // The choices of this page go along to another list; how its tables were sorted does not.
  function carried() {
    const query = new URLSearchParams(window.location.search);
    const kept = [...query].filter(([word]) => CHOICES.includes(word));
    const text = new URLSearchParams(kept).toString();
    return text ? `?${text}` : "";
  }

  function follow(event) {
    const link = event.target.closest("a.stays");
    if (!link || event.button || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    const to = new URL(link.href);
    if (!link.classList.contains("way")) {
      window.dash_clientside.set_props("address", { search: to.search === "?" ? "" : to.search });
      return;
    }
    const where = { pathname: to.pathname, search: carried() };
    window.dash_clientside.set_props("address", where);
    window.scrollTo(0, 0);
    document.getElementById("page").focus({ preventScroll: true });
  }

  // A picture says what it shows and what it rests on, in the light look.
  async function takePicture(event) {
    const button = event.target.closest("button.picture");
    if (!button) return;
    const section = button.closest("section");
    const graph = section.querySelector(".js-plotly-plot");
    const said = (selector) => (section.querySelector(selector) || {}).textContent || "";
    const text = (size, content) => ({ text: content, font: { size } });
    const { width, height } = graph.getBoundingClientRect();
    const margin = { ...graph.layout.margin, t: (graph.layout.margin.t || 16) + 64 };
    const title = { ...text(18, said("h2")), subtitle: text(12, said(".basis > summary")), x: 0.02 };
    const layout = {
      ...graph.layout, margin, title, paper_bgcolor: "#fbfaf7", height: height + 64, width,
    };
    const options = { format: "png", width, height: height + 64, scale: 2 };
    const picture = document.createElement("a");
    picture.href = await window.Plotly.toImage({ data: graph.data, layout }, options);
    picture.download = `${said("h2").replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-|-$/g, "")}.png`;
    picture.click();
  }

  document.addEventListener("click", follow);
  document.addEventListener("click", takePicture);
})();
