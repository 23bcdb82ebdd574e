/* A visit can be dragged to another open cell of its row: that follows the cell's own link and keeps nothing itself.
   After a link in a cell was followed, the same cell has the focus again, so that a keyboard goes on from there. */
(function () {
  "use strict";
  var held = null, followed = null;

  function cell(target) { return target && target.closest ? target.closest("td[data-cell]") : null; }

  function open(target) {
    var found = cell(target);
    return held && found && found.parentNode === held.parentNode ? found.querySelector("a.pl-open") : null;
  }

  function unmark() {
    document.querySelectorAll(".pl-target").forEach(function (one) { one.classList.remove("pl-target"); });
  }

  document.addEventListener("dragstart", function (event) {
    var block = event.target.closest && event.target.closest(".pl-block");
    if (!block) { return; }
    held = cell(block);
    block.classList.add("held");
    event.dataTransfer.effectAllowed = "move";
    event.dataTransfer.setData("text/plain", held.dataset.cell);
  });
  document.addEventListener("dragover", function (event) {
    unmark();
    var link = open(event.target);
    if (!link) { return; }
    event.preventDefault();
    event.dataTransfer.dropEffect = "move";
    link.parentNode.classList.add("pl-target");
  });
  document.addEventListener("drop", function (event) {
    var link = open(event.target);
    if (!link) { return; }
    event.preventDefault();
    link.click();
  });
  document.addEventListener("dragend", function () {
    unmark();
    document.querySelectorAll(".pl-block.held").forEach(function (one) { one.classList.remove("held"); });
    held = null;
  });

  document.addEventListener("click", function (event) {
    var found = event.target.closest && event.target.closest("td[data-cell] a") && cell(event.target);
    followed = found ? found.dataset.cell : null;
  }, true);
  new MutationObserver(function () {
    if (!followed || (document.activeElement && document.activeElement !== document.body)) { return; }
    var again = [].filter.call(document.querySelectorAll("td[data-cell]"), function (one) {
      return one.dataset.cell === followed;
    })[0];
    var link = again && again.querySelector("a");
    if (link) { followed = null; link.focus({ preventScroll: true }); }
  }).observe(document.documentElement, { childList: true, subtree: true });
}());
