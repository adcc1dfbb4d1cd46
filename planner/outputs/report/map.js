// Map and charts: fills Bokeh's sources, follows the filters, and takes its colours from the style sheet.

const charts = {}; // Bokeh figures by name
const model = (chart, name) => charts[chart].document.get_model_by_name(name);
const glyphs = (chart, name) => charts[chart].renderers.find((renderer) => renderer.name === name);
const sourceOf = (name) => glyphs("map", name).data_source;
const at = (list, index, key) => (index < 0 ? null : list[index][key]);

function fillMap() {
  const hostColumn = (key) => rows.host.map((host) => hosts[host][key]);
  sourceOf("dots").data = {
    ...Object.fromEntries(["x", "y", "site", "name", "rtt", "budget", "evidence"].map((key) => [key, rows[key]])),
    colour: hostColumn("colour"), shape: hostColumn("shape"), host: hostColumn("host"),
  };
  sourceOf("crosses").data = { x: [], y: [], site: [], ...record.unserved };
  const load = hubs.map(() => 0);
  rows.hub.forEach((hub, row) => { load[hub] += rows.clusters[row]; });
  sourceOf("hub_marks").data = {
    ...Object.fromEntries(["x", "y", "hub", "name", "hosts"].map((key) => [key, hubs.map((hub) => hub[key])])),
    clusters: load, size: hubs.map((hub) => (hub.hosts ? 13 : 7)), filled: hubs.map((hub) => (hub.hosts ? 1 : 0)),
  };
  if (total > 3000) glyphs("map", "dots").glyph.size = { value: 5 };
}

// The view is a centre and a scale, the same in both directions; Bokeh keeps two ranges.
function setView(x, y, scale) {
  const map = charts.map;
  const width = map.inner_width * scale, height = map.inner_height * scale;
  map.x_range.setv({ start: x - width / 2, end: x + width / 2 });
  map.y_range.setv({ start: y - height / 2, end: y + height / 2 });
}

function view() {
  const { x_range: across, y_range: up, inner_height: height } = charts.map;
  return [(across.start + across.end) / 2, (up.start + up.end) / 2, (up.end - up.start) / Math.max(height, 1)];
}

function seeAll() {
  const used = hubs.filter((hub) => hub.hosts || !record.schematic);
  const xs = [...rows.x, ...(record.unserved.x || []), ...used.map((hub) => hub.x)].filter(Number.isFinite);
  const ys = [...rows.y, ...(record.unserved.y || []), ...used.map((hub) => hub.y)].filter(Number.isFinite);
  const ends = (values) => values.reduce(([low, high], v) => [Math.min(low, v), Math.max(high, v)], [Infinity, -Infinity]);
  const [[left, right], [bottom, top]] = xs.length ? [ends(xs), ends(ys)] : [[-1, 1], [-1, 1]];
  const least = record.schematic ? 1 : 1000; // one single place is not shown at an endless scale
  const scale = 1.12 * Math.max((right - left) / charts.map.inner_width, (top - bottom) / charts.map.inner_height,
    least / charts.map.inner_height);
  setView((left + right) / 2, (bottom + top) / 2, scale);
}

function steer(act) {
  const [x, y, scale] = view();
  const step = 0.2 * scale * Math.min(charts.map.inner_width, charts.map.inner_height);
  const moves = {
    zoom_in: () => setView(x, y, scale / 1.5), zoom_out: () => setView(x, y, scale * 1.5), see_all: seeAll,
    left: () => setView(x - step, y, scale), right: () => setView(x + step, y, scale),
    up: () => setView(x, y + step, scale), down: () => setView(x, y - step, scale),
  };
  moves[act]();
}

const keys = { "+": "zoom_in", "=": "zoom_in", "-": "zoom_out", "0": "see_all",
  ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down" };

function connectMap() {
  for (const button of document.querySelectorAll("[data-map]")) {
    button.addEventListener("click", () => steer(button.dataset.map));
  }
  $("map-pane").addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || !(event.key in keys)) return;
    steer(keys[event.key]);
    event.preventDefault();
  });
  new ResizeObserver(() => setTimeout(() => setView(...view()), 60)).observe($("map-pane"));
  const chosen = sourceOf("hub_marks").selected;
  chosen.properties.indices.change.connect(() => {
    const [hub] = chosen.indices;
    if (hub === undefined) return;
    chosen.indices = [];
    if (hubs[hub].hosts) choose(`hub ${hub}`);
  });
}

function drawLines(shown) {
  const xs = hosts.map(() => []), ys = hosts.map(() => []);
  for (const row of shown) {
    const hub = hubs[rows.hub[row]], host = rows.host[row];
    if (rows.x[row] === null || hub.x === null) continue;
    xs[host].push(hub.x, rows.x[row], NaN); // NaN lifts the pen
    ys[host].push(hub.y, rows.y[row], NaN);
  }
  sourceOf("lines").data = { xs, ys, colour: hosts.map((host) => host.colour) };
}

// Twenty bars of RTT as a share of the budget; what exceeds it, as an edited plan may, is a last one.
function drawLatency(shown) {
  const shares = shown.map((row) => rows.rtt[row] / rows.budget[row]).filter(Number.isFinite).sort((a, b) => a - b);
  const top = new Array(21).fill(0);
  for (const share of shares) top[Math.min(20, Math.max(0, Math.ceil(share * 20 - 1e-9) - 1))] += 1;
  const left = top.map((_, bin) => bin / 20);
  glyphs("latency", "bars").data_source.data = { left, right: left.map((x) => x + 1 / 20), top };
  charts.latency.y_range.end = 1.1 * Math.max(1, ...top);
  const middle = shares[Math.floor((shares.length - 1) / 2)];
  $("latency-words").textContent = shares.length === 0 ? say("no_rows") : say("latency_words", {
    n: whole.format(shares.length), median: percent.format(middle), most: percent.format(shares[shares.length - 1]),
    tight: whole.format(shares.filter((share) => share > 0.9).length),
  });
}

function paint() {
  const style = getComputedStyle(document.documentElement);
  const colour = (name) => style.getPropertyValue(`--${name}`).trim();
  const ink = colour("ink"), soft = colour("soft"), rule = colour("rule"), warn = colour("warn"), paper = colour("paper");
  const set = (chart, name, values) => {
    const found = charts[chart] && glyphs(chart, name);
    if (found) found.glyph.setv(values);
  };
  for (const chart of Object.values(charts)) {
    chart.setv({ border_fill_color: paper, background_fill_color: paper, outline_line_color: chart === charts.map ? null : rule });
    for (const axis of [...chart.below, ...chart.left]) {
      axis.setv({ axis_line_color: soft, major_tick_line_color: soft, minor_tick_line_color: null,
        major_label_text_color: soft, axis_label_text_color: soft, axis_label_text_font_style: "normal" });
    }
    for (const grid of chart.center) if ("grid_line_color" in grid) grid.grid_line_color = rule;
  }
  set("map", "land", { fill_color: colour("land"), line_color: colour("border") });
  set("map", "dots", { line_color: ink, line_width: 0.7 });
  set("map", "crosses", { line_color: warn, line_width: 2 });
  set("map", "hub_marks", { line_color: ink, fill_color: ink, fill_alpha: { field: "filled" } });
  set("map", "hub_names", { text_color: ink, background_fill_color: paper });
  set("map", "moving", { line_color: warn });
  set("map", "rings", { line_color: warn });
  set("latency", "bars", { fill_color: colour("bar"), line_color: paper });
  set("curve", "curve_line", { line_color: soft });
  set("curve", "proven", { line_color: ink, fill_color: ink });
  set("curve", "best", { line_color: ink, fill_color: paper });
}

async function startCharts() {
  for (const item of record.charts) {
    const views = await Bokeh.embed.embed_item(item, item.target_id);
    const chart = views.roots[0].model;
    charts[chart.name] = chart;
  }
  paint();
  fillMap();
  seeAll();
  connectMap();
  const filter = model("map", "shown").filter;
  onShown((shown) => { filter.indices = shown; });
  onShown(drawLines);
  onShown(drawLatency);
  applyFilters();
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", paint);
  matchMedia("print").addEventListener("change", paint);
  document.body.dataset.ready = "yes"; // for tests
}
