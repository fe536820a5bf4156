// The only scripts of our own that callbacks call. They keep address, controls and look in step.
(function () {
  "use strict";
  const dash = (window.dash_clientside = window.dash_clientside || {});

  // What a control shows for an address; a value that it does not offer shows as its default.
  function shown(id, query, control, choices) {
    if (Array.isArray(control)) return query.getAll(id.name);
    const asked = query.get(id.name);
    const offered = !choices || choices.some((choice) => choice.value === asked);
    return (offered && asked) || id.default || null;
  }

  // Put one control's value into the query; its default is left out.
  function put(query, id, value) {
    query.delete(id.name);
    const many = Array.isArray(value) ? value : [value];
    many
      .filter((one) => one !== null && one !== undefined && one !== "" && one !== id.default)
      .forEach((one) => query.append(id.name, one));
  }

  // Controls write the address. One whose name begins with a slash stands for the end of the path.
  function write(values) {
    const context = dash.callback_context;
    const changed = (context.triggered || []).map((one) => one.prop_id);
    // Controls that have just been drawn report all at once; a reader moves one at a time.
    if (changed.length !== 1) return;
    const ids = context.inputs_list[0].map((input) => input.id);
    const moved = ids.findIndex((id) => changed[0] === `${JSON.stringify(sorted(id))}.value`);
    if (moved < 0) return;
    if (ids[moved].name.startsWith("/")) {
      const pathname = `${ids[moved].name}/${encodeURIComponent(values[moved])}`;
      if (pathname !== window.location.pathname) dash.set_props("address", { pathname });
      return;
    }
    const query = new URLSearchParams(window.location.search);
    const before = query.toString();
    put(query, ids[moved], values[moved]);
    const after = query.toString();
    if (after !== before) dash.set_props("address", { search: after ? `?${after}` : "" });
  }

  // The address writes the controls, after back and forward.
  function read(search, values, choices) {
    const ids = dash.callback_context.states_list[0].map((state) => state.id);
    const query = new URLSearchParams(search || "");
    return ids.map((id, at) =>
      id.name.startsWith("/") ? dash.no_update : shown(id, query, values[at], choices[at])
    );
  }

  function sorted(id) {
    return Object.fromEntries(Object.entries(id).sort());
  }

  // The button turns the look over; the choice is kept in this browser.
  function look(clicks) {
    let chosen = null;
    try {
      if (clicks) {
        const now = document.documentElement.dataset.mantineColorScheme;
        window.localStorage.setItem("shedbook-look", now === "dark" ? "light" : "dark");
      }
      chosen = window.localStorage.getItem("shedbook-look");
    } catch (blocked) {
      chosen = null;
    }
    return chosen || dash.no_update;
  }

  // The tab carries the page's heading, and the way to this page is marked.
  function arrive(children) {
    const heading = (Array.isArray(children) ? children : []).find((one) => one.type === "H1");
    if (heading) document.title = `${heading.props.children} – shedbook`;
    document.querySelectorAll("a.way").forEach((way) => {
      const here = new URL(way.href).pathname === window.location.pathname;
      if (here) way.setAttribute("aria-current", "page");
      else way.removeAttribute("aria-current");
    });
  }

  dash.shedbook = { write, read, look, arrive };
})();
