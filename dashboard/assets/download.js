/* A figure as PNG or SVG, drawn here from what the page already holds: nothing is asked of any host. */
document.addEventListener("click", function (event) {
  var button = event.target.closest && event.target.closest("button.get[data-form]");
  if (!button) { return; }
  var holder = document.getElementById(button.dataset.chart);
  var drawn = holder && (holder.classList.contains("js-plotly-plot") ? holder : holder.querySelector(".js-plotly-plot"));
  if (!drawn || !window.Plotly) { return; }
  var plain = function (text) { return text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;"); };
  var width = Math.max(drawn.offsetWidth, 320);
  var height = drawn.offsetHeight;
  var letters = Math.max(30, Math.floor((width - 40) / 6.4));
  var lines = function (text) {
    return text.split(/\s+/).reduce(function (rows, word) {
      var last = rows[rows.length - 1];
      if (last && last.length + word.length < letters) { rows[rows.length - 1] = last + " " + word; } else { rows.push(word); }
      return rows;
    }, []);
  };
  var title = lines(button.dataset.title);
  var caption = lines(button.dataset.caption);
  var above = 22 * title.length + 17 * caption.length + 30;
  var layout = JSON.parse(JSON.stringify(drawn.layout));
  // A picture stands alone, on paper too: light, with its own heading, day and unit.
  layout.paper_bgcolor = "#ffffff";
  layout.plot_bgcolor = "#ffffff";
  layout.autosize = false;
  layout.margin = Object.assign({}, layout.margin, { t: (layout.margin && layout.margin.t || 0) + above });
  layout.title = {
    text: title.map(plain).join("<br>"),
    font: { size: 17, color: "#171a24" },
    subtitle: { text: caption.map(plain).join("<br>"), font: { size: 12.5, color: "#464c5e" } },
    x: 16 / width, xanchor: "left", yref: "container", y: 1 - 14 / (height + above), yanchor: "top"
  };
  window.Plotly.downloadImage({ data: drawn.data, layout: layout, config: { displaylogo: false } }, {
    format: button.dataset.form,
    width: width,
    height: height + above,
    scale: button.dataset.form === "png" ? 2 : 1,
    filename: button.dataset.name.toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "")
  });
});
