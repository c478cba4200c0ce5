/* What the page can do beyond being read: dark or light, charts that answer, the replay. */
"use strict";

(() => {
  const root = document.documentElement;
  const read = (id) => { const found = document.getElementById(id); return found ? JSON.parse(found.textContent) : null; };
  const tone = (name) => getComputedStyle(root).getPropertyValue(`--${name}`).trim();
  const SIGNS = ["circle", "square", "diamond", "triangle-up", "triangle-down", "cross", "x", "star"];
  const live = read("live-data");
  root.classList.add("scripted");

  /* Names are text: no markup of theirs reaches the chart. */
  const plain = (text) => String(text).replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
  const short = (text) => plain(text.length > 34 ? `${text.slice(0, 33)}…` : text);
  const look = (series) => ({ color: tone(`s${series % 8}`), symbol: SIGNS[(series + Math.floor(series / 8)) % 8], size: 11,
    line: { color: tone("paper"), width: 1 } });
  const points = (share) => (100 * share).toFixed(0);

  function layout(x, y, more) {
    const axis = { gridcolor: tone("grid"), linecolor: tone("edge"), zerolinecolor: tone("ink"), fixedrange: true };
    return { paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", font: { color: tone("ink"), size: 13 },
      margin: { l: 58, r: 12, t: 12, b: 96 }, hovermode: "closest",
      legend: { orientation: "h", y: 0, yref: "container", yanchor: "bottom", x: 0, font: { size: 13 } },
      hoverlabel: { bgcolor: tone("band"), bordercolor: tone("edge"), font: { color: tone("ink") }, align: "left" },
      xaxis: { ...axis, ...x, zeroline: false }, yaxis: { ...axis, ...y }, ...more };
  }
  const settings = { displayModeBar: false, responsive: true };

  function drawCurve() {
    const key = document.getElementById("live-place").value, own = live.cells.filter((cell) => cell.key === key);
    const levels = [...new Set(own.map((cell) => cell.l))].sort((a, b) => a - b);
    const span = levels[levels.length - 1] - levels[0] || 1;
    const series = [...new Set(own.map((cell) => cell.s))];
    const traces = series.map((s, i) => {
      const mine = own.filter((cell) => cell.s === s && cell.n > 0).sort((a, b) => a.l - b.l);
      return { name: short(live.names[s]), x: mine.map((cell) => cell.l + 0.012 * span * (i - (series.length - 1) / 2)),
        y: mine.map((cell) => (100 * cell.k) / cell.n), mode: levels.length > 1 ? "lines+markers" : "markers",
        marker: look(s), line: { color: tone(`s${s % 8}`), width: 2 },
        visible: series.length > 8 && i >= 8 ? "legendonly" : true,
        error_y: { type: "data", symmetric: false, color: tone(`s${s % 8}`), thickness: 2, width: 0,
          array: mine.map((cell) => 100 * (cell.hi - cell.k / cell.n)), arrayminus: mine.map((cell) => 100 * (cell.k / cell.n - cell.lo)) },
        text: mine.map((cell) => `<b>${short(live.names[s])}</b><br>${cell.l} ${cell.u}: ${cell.k} of ${cell.n}, ${points(cell.k / cell.n)} % `
          + `(${points(cell.lo)}–${points(cell.hi)})<br>${cell.df ? `against the baseline ${plain(cell.df)}<br>` : ""}${plain(cell.w)}`),
        hoverinfo: "text" };
    });
    Plotly.react("live-curve", traces, layout({ title: { text: `${plain(own[0].o)}, ${own[0].u === "deg" ? "degrees" : plain(own[0].u)}`, standoff: 8 }, tickvals: levels },
      { title: { text: "success rate, %" }, range: [-4, 104] }), settings);
  }

  function drawWorth() {
    const money = document.querySelector("input[name=cost]:checked").value === "money";
    const shown = live.gains.filter((gain) => !money || gain[2] !== null);
    const traces = shown.map(([s, grams, price, currency, pairs, gain, low, high]) => ({
      name: short(live.names[s]), x: [money ? price : grams], y: [100 * gain], mode: "markers", marker: look(s),
      error_y: { type: "data", symmetric: false, array: [100 * (high - gain)], arrayminus: [100 * (gain - low)],
        color: tone(`s${s % 8}`), thickness: 2, width: 0 },
      text: [`<b>${short(live.names[s])}</b><br>${(100 * gain).toFixed(1)} points (${(100 * low).toFixed(1)} to ${(100 * high).toFixed(1)})`
        + `<br>${grams >= 0 ? "+" : ""}${grams.toFixed(0)} g${price === null ? "" : `, ${price} ${plain(currency)}`}<br>${pairs} pairs`],
      hoverinfo: "text" }));
    const currency = shown.length ? plain(shown[0][3]) : "";
    Plotly.react("live-worth", traces, layout({ title: { text: money ? `price, ${currency}` : "grams added", standoff: 8 } },
      { title: { text: "success gained, points" } }, { showlegend: true }), settings);
  }

  function drawCharts() {
    if (typeof Plotly === "undefined") return;
    if (document.getElementById("live-curve")) drawCurve();
    if (document.getElementById("live-worth")) drawWorth();
  }

  if (typeof Plotly !== "undefined") {
    for (const box of document.querySelectorAll(".live")) box.hidden = false;
    const place = document.getElementById("live-place");
    if (place) {
      const seen = new Map();
      for (const cell of live.cells) if (!seen.has(cell.key)) seen.set(cell.key, cell.o + (live.several_drivers ? `, ${cell.d} driver` : ""));
      const levels = (key) => new Set(live.cells.filter((cell) => cell.key === key).map((cell) => cell.l)).size;
      const order = [...seen].sort((a, b) => levels(b[0]) - levels(a[0]));
      place.replaceChildren(...order.map(([key, text]) => new Option(text, key)));
      place.addEventListener("change", drawCurve);
    }
    for (const input of document.querySelectorAll("input[name=cost]")) input.addEventListener("change", drawWorth);
  }
  drawCharts();

  const replay = read("replay-data"), box = document.getElementById("player");
  const player = replay && box && replay.clips.length ? new Player(box, replay) : null;
  window.cragPlayer = player;

  /* On paper nothing can be unfolded. */
  addEventListener("beforeprint", () => { for (const place of document.querySelectorAll("details")) place.open = true; });

  const theme = document.getElementById("theme");
  if (theme) {
    const dark = () => root.dataset.theme === "dark" || (!root.dataset.theme && matchMedia("(prefers-color-scheme: dark)").matches);
    const label = () => { theme.textContent = dark() ? "Light" : "Dark"; };
    theme.hidden = false;
    theme.addEventListener("click", () => {
      root.dataset.theme = dark() ? "light" : "dark";
      label();
      drawCharts();
      if (player) player.draw();
    });
    label();
  }
})();
