/* The unit a reader chose is kept on this device for the next visit; an address that names a unit goes before it. */
(function () {
  var key = "asleft-unit";
  var kept = null;
  // Some windows refuse storage; then the unit is in the address only, as it always is.
  try { kept = window.localStorage.getItem(key); } catch (refused) { return; }
  var here = new URL(window.location.href);
  if (kept === "thou" && !here.searchParams.has("unit")) {
    here.searchParams.set("unit", kept);
    window.history.replaceState(null, "", here.pathname + here.search + here.hash);
  }
  document.addEventListener("click", function (event) {
    var chosen = event.target.closest && event.target.closest(".pick[aria-label='Unit'] a");
    if (chosen) { window.localStorage.setItem(key, chosen.textContent); }
  }, true);
})();
