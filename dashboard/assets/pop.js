/* Choices close when something else is chosen, and a choice low on the page does not throw the reader to its top. */
document.addEventListener("click", function (event) {
  document.querySelectorAll("details.pop[open]").forEach(function (open) {
    if (!open.contains(event.target) || event.target.closest("a")) { open.open = false; }
  });
}, true);
document.addEventListener("click", function (event) {
  var link = event.target.closest && event.target.closest(".stay a:not(.go)");
  if (!link) { return; }
  var kept = window.scrollY;
  window.requestAnimationFrame(function () { window.scrollTo(0, kept); });
}, true);
document.addEventListener("keydown", function (event) {
  if (event.key !== "Escape") { return; }
  document.querySelectorAll("details.pop[open]").forEach(function (open) {
    open.open = false;
    open.querySelector("summary").focus();
  });
});
