"use strict";
// Without this the page holds all the same: it only sorts tables and leaves bands away.
(function () {
  function value(row, column) {
    var text = row.children[column].textContent.trim();
    var number = parseFloat(text.replace(/,/g, "").replace("−", "-").replace(/^[<>+]\s*/, ""));
    return isNaN(number) ? text : number;
  }
  document.querySelectorAll("table.sort").forEach(function (table) {
    var body = table.tBodies[0];
    var heads = table.tHead.rows[0].cells;
    if (body.rows.length < 3) return;
    Array.prototype.forEach.call(heads, function (head, column) {
      if (!head.textContent.trim()) return;
      var button = document.createElement("button");
      button.type = "button";
      button.textContent = head.textContent;
      head.textContent = "";
      head.appendChild(button);
      button.addEventListener("click", function () {
        var down = head.getAttribute("aria-sort") === "ascending";
        Array.prototype.forEach.call(heads, function (other) { other.removeAttribute("aria-sort"); });
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        Array.prototype.slice.call(body.rows).map(function (row, place) {
          return { row: row, key: value(row, column), place: place };
        }).sort(function (a, b) {
          var order = typeof a.key === typeof b.key
            ? (typeof a.key === "number" ? a.key - b.key : a.key.localeCompare(b.key))
            : (typeof a.key === "number" ? -1 : 1);
          return (down ? -order : order) || a.place - b.place;
        }).forEach(function (entry) { body.appendChild(entry.row); });
      });
    });
  });
  // what is folded away is open without a script, and on paper
  var folds = document.querySelectorAll("details.fold");
  function fold(open) { folds.forEach(function (part) { part.open = open; }); }
  fold(false);
  window.addEventListener("beforeprint", function () { fold(true); });
  var bands = document.querySelectorAll(".band");
  if (bands.length < 2) return;
  var bar = document.createElement("div");
  bar.className = "switch";
  bar.setAttribute("role", "group");
  bar.setAttribute("aria-label", "Bands shown");
  var choices = [["", "all bands"]];
  bands.forEach(function (band) { choices.push([band.dataset.band, band.dataset.name]); });
  choices.forEach(function (choice) {
    var button = document.createElement("button");
    button.type = "button";
    button.textContent = choice[1];
    button.setAttribute("aria-pressed", String(choice[0] === ""));
    button.addEventListener("click", function () {
      bands.forEach(function (band) {
        band.classList.toggle("off", choice[0] !== "" && band.dataset.band !== choice[0]);
      });
      bar.querySelectorAll("button").forEach(function (other) {
        other.setAttribute("aria-pressed", String(other === button));
      });
    });
    bar.appendChild(button);
  });
  bands[0].parentNode.insertBefore(bar, bands[0]);
})();
