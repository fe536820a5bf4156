// Says when the server does not answer, or takes long: nobody should wait for nothing.
(function () {
  "use strict";
  const LONG_MS = 20000;
  const asked = window.fetch;
  let waiting = 0;

  function tell(key) {
    const place = document.getElementById("unanswered");
    if (!place) return;
    place.textContent = key ? place.dataset[key] : "";
    place.hidden = !key;
  }

  window.fetch = async function (resource, options) {
    const address = String((resource && resource.url) || resource);
    if (!address.includes("_dash-update-component")) return asked.call(this, resource, options);
    waiting += 1;
    const patience = setTimeout(() => tell("long"), LONG_MS);
    try {
      const answer = await asked.call(this, resource, options);
      if (answer.status >= 400) tell("failed");
      else if (waiting === 1) tell("");
      return answer;
    } catch (failure) {
      // A page that is being left breaks its own questions off: that is no failure.
      if (!failure || failure.name !== "AbortError") tell("silent");
      throw failure;
    } finally {
      waiting -= 1;
      clearTimeout(patience);
    }
  };
})();
