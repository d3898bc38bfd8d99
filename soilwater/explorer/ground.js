// A line or a green that was run once: the day is moved and a place is chosen.

const { x: XS, y: YS, level: LEVELS, depth: DEPTHS, wide: WIDE, area: AREAS } = GIVEN.places;
const CELLS = GIVEN.beside_surface + GIVEN.stretched, COUNT = XS.length;
const LINES = Object.keys(GIVEN.lines);
let water = null, readings = null, readFor = null, low = [], high = [], mean = [];

const WHOLE_AREA = AREAS.reduce((all, each) => all + each, 0);

// --- arithmetic -------------------------------------------------------------------------------

/** Readings of all places at all stored hours, worked out anew only for other rods. */
function readAll() {
  if (readFor === state.rod) return;
  readFor = state.rod;
  const shares = DEPTHS.map((depth) => cellShares(depth, state.rod));
  readings = GIVEN.hours.map((_, t) => Float64Array.from({ length: COUNT }, (_, p) => {
    const at = (t * COUNT + p) * CELLS;
    let held = 0;
    for (let c = 0; c < CELLS; c++) held += shares[p][c] * water[at + c];
    return STEP * held;
  }));
  low = readings.map((each) => Math.min(...each));
  high = readings.map((each) => Math.max(...each));
  mean = readings.map((each) => each.reduce((all, one, p) => all + one * AREAS[p], 0) / WHOLE_AREA);
}

const now = () => GIVEN.hours.indexOf(state.hour);

/** Day on which the readings of a place first fall to a line. */
function dayOf(place, line) {
  const k = readings.findIndex((each) => each[place] <= line);
  if (k <= 0) return k === 0 ? 0 : Infinity;
  const [before, after] = [readings[k - 1][place], readings[k][place]];
  const share = (before - line) / (before - after);
  return (GIVEN.hours[k - 1] + share * (GIVEN.hours[k] - GIVEN.hours[k - 1])) / 24;
}

function nearest(x, y) {
  let best = 0, least = Infinity;
  for (let p = 0; p < COUNT; p++) {
    const off = (XS[p] - x) ** 2 + (YS ? (YS[p] - y) ** 2 : 0);
    if (off < least) [best, least] = [p, off];
  }
  return best;
}

// --- words ------------------------------------------------------------------------------------

const metres = (m) => both(`${m.toFixed(1)} m`, `${(m / 0.3048).toFixed(0)} ft`);
const placeText = (p) => (YS ? `at ${metres(XS[p])} east, ${metres(YS[p])} north` : `at ${metres(XS[p])}`);

function write() {
  const k = now(), p = state.place, all = readings[k];
  const driest = all.indexOf(low[k]), wettest = all.indexOf(high[k]);
  const begin = placeText(p);
  setText("said-place", `${begin[0].toUpperCase()}${begin.slice(1)}, ${length(DEPTHS[p])} deep: the meter reads ${
    percent(all[p])} on ${timeText(state.hour)}.`);
  setText("said-all", `Driest ${placeText(driest)}: ${percent(all[driest])}; wettest ${
    placeText(wettest)}: ${percent(all[wettest])}; mean ${percent(mean[k])}.`);
  setText("reading-place", percent(all[p]));
  setText("reading-all", `${percent(all[driest])} to ${percent(all[wettest])}`);
  for (const each of LINES) {
    const line = GIVEN.lines[each];
    setText(`${each}-place`, oneDay(dayOf(p, line)));
    const below = AREAS.reduce((held, each, q) => held + (all[q] <= line) * each, 0) / WHOLE_AREA;
    setText(`${each}-all`, `${(100 * below).toFixed(0)} % of the area`);
  }
  setText("rod-said", length(state.rod));
}

// --- pictures ---------------------------------------------------------------------------------

const HIGHEST = GIVEN.shade_ends[1], LOWEST = GIVEN.shade_ends[0];
const shadeOf = (share) => Math.max(0, Math.min(GIVEN.shades.length - 1,
  Math.floor(GIVEN.shades.length * (share - LOWEST) / (HIGHEST - LOWEST))));

/** Fill boxes by shade, one path a shade: a slider does not wait for thousands of boxes. */
function fillBoxes(holder, boxes) {
  const parts = GIVEN.shades.map(() => []);
  for (const [share, left, top, wide, tall] of boxes)
    parts[shadeOf(share)].push(`M${left.toFixed(1)},${top.toFixed(1)}h${wide.toFixed(1)}v${
      tall.toFixed(1)}h${(-wide).toFixed(1)}z`);
  parts.forEach((each, shade) => {
    if (each.length)
      holder.append("path").attr("fill", GIVEN.shades[shade]).attr("d", each.join(""));
  });
}

function drawKey(svg, left, top, wide) {
  const tick = wide / GIVEN.shades.length;
  GIVEN.shades.forEach((shade, k) => svg.append("rect").attr("fill", shade)
    .attr("x", left + k * tick).attr("y", top).attr("width", tick + 0.5).attr("height", 9));
  const x = d3.scaleLinear([100 * LOWEST, 100 * HIGHEST], [left, left + wide]);
  svg.append("g").attr("class", "axis").attr("transform", `translate(0,${top + 9})`)
    .call(d3.axisBottom(x).ticks(5).tickSizeOuter(0).tickFormat((each) => `${each} %`));
}

/** Let a click or a touch choose the place under it. */
function choose(svg, left, top, wide, tall, xAt, yAt) {
  svg.append("rect").attr("class", "catch").attr("x", left).attr("y", top)
    .attr("width", wide).attr("height", tall).on("click", (event) => {
      const box = svg.node().getBoundingClientRect(), view = svg.node().viewBox.baseVal;
      const at = (event.clientX - box.left) * view.width / box.width;
      const down = (event.clientY - box.top) * view.height / box.height;
      state.place = nearest(xAt(at), yAt ? yAt(down) : 0);
      byId("place").value = state.place;
      refresh();
    });
}

function drawSection() {
  const height = 300, [svg, wide] = sheet("whole", height), k = now();
  const unit = inInches() ? 0.3048 : 1, tall = inInches() ? 2.54 : 1;
  const first = XS[0] - WIDE[0] / 2, last = XS[COUNT - 1] + WIDE[COUNT - 1] / 2;
  const floor = LEVELS.map((each, p) => each - DEPTHS[p]);
  const lowest = Math.min(...floor) - 4, highest = Math.max(...LEVELS) + 2;
  const x = d3.scaleLinear([first / unit, last / unit], [46, wide - 10]);
  const y = d3.scaleLinear([lowest / tall, highest / tall], [height - 74, 8]);
  const across = (m) => x(m / unit), up = (cm) => y(cm / tall);
  const boxes = [];
  for (let p = 0; p < COUNT; p++) {
    const ends = levels(DEPTHS[p]), at = (k * COUNT + p) * CELLS;
    const left = across(XS[p] - WIDE[p] / 2), broad = across(XS[p] + WIDE[p] / 2) - left + 0.4;
    for (let c = 0; c < CELLS; c++) {
      const top = up(LEVELS[p] - ends[c]);
      boxes.push([STEP * water[at + c], left, top, broad, up(LEVELS[p] - ends[c + 1]) - top + 0.4]);
    }
    svg.append("rect").attr("class", "gravel").attr("x", left).attr("y", up(floor[p]))
      .attr("width", broad).attr("height", Math.max(0, y.range()[0] - up(floor[p])));
  }
  fillBoxes(svg.append("g"), boxes);
  const p = state.place, left = across(XS[p] - WIDE[p] / 2);
  svg.append("rect").attr("class", "chosen").attr("x", left).attr("y", up(LEVELS[p]))
    .attr("width", across(XS[p] + WIDE[p] / 2) - left).attr("height", up(floor[p]) - up(LEVELS[p]));
  svg.append("g").attr("class", "axis").attr("transform", `translate(0,${height - 74})`)
    .call(d3.axisBottom(x).ticks(8).tickSizeOuter(0));
  svg.append("g").attr("class", "axis").attr("transform", "translate(46,0)")
    .call(d3.axisLeft(y).ticks(6).tickSizeOuter(0));
  const steep = (up(0) - up(100)) / (across(1) - across(0));
  svg.append("text").attr("class", "label").attr("x", 0.5 * wide).attr("y", height - 42)
    .text(`distance (${inInches() ? "ft" : "m"}); heights drawn ${steep.toFixed(0)} times too tall`);
  svg.append("text").attr("class", "label")
    .attr("transform", `translate(11,${(height - 74) / 2})rotate(-90)`)
    .text(`level (${inInches() ? "in" : "cm"})`);
  drawKey(svg, 0.5 * wide - 130, height - 32, 260);
  choose(svg, 46, 8, wide - 56, height - 82, (at) => x.invert(at) * unit);
  svg.attr("aria-label", `Section: surface, floor and water content on ${timeText(state.hour)}; `
    + "the sentences and the table say what it shows.");
}

function drawMap() {
  const [, wide] = sheet("whole", 10), unit = inInches() ? 0.3048 : 1, half = WIDE[0] / 2;
  const ends = (values) => [Math.min(...values) - half, Math.max(...values) + half];
  const [west, east] = ends(XS), [south, north] = ends(YS);
  const scale = Math.min((wide - 56) / (east - west), 520 / (north - south));
  const height = scale * (north - south) + 84, [svg] = sheet("whole", height);
  const x = d3.scaleLinear([west / unit, east / unit], [46, 46 + scale * (east - west)]);
  const y = d3.scaleLinear([south / unit, north / unit], [height - 76, 8]);
  const across = (m) => x(m / unit), up = (m) => y(m / unit), all = readings[now()];
  const side = 2 * half * scale;
  fillBoxes(svg.append("g"), XS.map((m, p) =>
    [all[p], across(m - half), up(YS[p] + half), side + 0.4, side + 0.4]));
  const p = state.place;
  svg.append("rect").attr("class", "chosen").attr("x", across(XS[p] - half))
    .attr("y", up(YS[p] + half)).attr("width", side).attr("height", side);
  svg.append("g").attr("class", "axis").attr("transform", `translate(0,${height - 76})`)
    .call(d3.axisBottom(x).ticks(6).tickSizeOuter(0));
  svg.append("g").attr("class", "axis").attr("transform", "translate(46,0)")
    .call(d3.axisLeft(y).ticks(6).tickSizeOuter(0));
  svg.append("text").attr("class", "label").attr("x", 46 + 0.5 * scale * (east - west))
    .attr("y", height - 44).text(`distance (${inInches() ? "ft" : "m"}); colour: the reading`);
  drawKey(svg, 46, height - 32, Math.min(260, wide - 60));
  choose(svg, 46, 8, scale * (east - west), height - 84,
    (at) => x.invert(at) * unit, (down) => y.invert(down) * unit);
  svg.attr("aria-label", `Map of readings on ${timeText(state.hour)}; the sentences and the table `
    + "say what it shows.");
}

/** Draw the lines of the thresholds across a picture, with their names. */
function drawLines(svg, y, left, right) {
  for (const each of LINES) {
    const at = y(100 * GIVEN.lines[each]);
    svg.append("path").attr("class", "threshold").attr("d", `M${left},${at}H${right}`);
    svg.append("text").attr("class", "line-name").attr("x", right - 4).attr("y", at - 3)
      .text(`${each} ${+(100 * GIVEN.lines[each]).toFixed(1)} %`);
  }
}

function drawAlong() {
  const height = 190, [svg, wide] = sheet("along", height), all = readings[now()];
  const unit = inInches() ? 0.3048 : 1;
  const x = d3.scaleLinear([(XS[0] - WIDE[0] / 2) / unit,
    (XS[COUNT - 1] + WIDE[COUNT - 1] / 2) / unit], [46, wide - 10]);
  const y = d3.scaleLinear([0, 100 * GIVEN.most], [height - 30, 10]);
  drawLines(svg, y, 46, wide - 10);
  const line = (values) => d3.line().x((p) => x(XS[p] / unit)).y((p) => y(100 * values[p]))(XS.keys());
  svg.append("path").attr("class", "curve spot").attr("d", line(all));
  svg.append("circle").attr("class", "dot spot").attr("r", 5).attr("cx", x(XS[state.place] / unit))
    .attr("cy", y(100 * all[state.place]));
  svg.append("g").attr("class", "axis").attr("transform", `translate(0,${height - 30})`)
    .call(d3.axisBottom(x).ticks(8).tickSizeOuter(0));
  svg.append("g").attr("class", "axis").attr("transform", "translate(46,0)")
    .call(d3.axisLeft(y).ticks(5).tickSizeOuter(0));
  svg.append("text").attr("class", "label").attr("transform", `translate(11,${height / 2})rotate(-90)`)
    .text("% by volume");
  choose(svg, 46, 10, wide - 56, height - 40, (at) => x.invert(at) * unit);
  svg.attr("aria-label", `Readings along the line on ${timeText(state.hour)}.`);
}

function drawDays() {
  const height = 330, [svg, wide] = sheet("days", height), days = GIVEN.hours.map((h) => h / 24);
  const x = d3.scaleLinear([0, days[days.length - 1]], [42, wide - 12]);
  const y = d3.scaleLinear([0, 100 * GIVEN.most], [height - 42, 12]);
  const steps = [...days.keys()], at = (k) => x(days[k]);
  svg.append("clipPath").attr("id", "days-inside").append("rect").attr("x", x(0)).attr("y", 12)
    .attr("width", wide - 12 - x(0)).attr("height", height - 54);
  const inside = svg.append("g").attr("clip-path", "url(#days-inside)");
  inside.append("path").attr("class", "spread").attr("d", d3.area().x(at)
    .y0((k) => y(100 * low[k])).y1((k) => y(100 * high[k]))(steps));
  drawLines(svg, y, x(0), wide - 12);
  inside.append("path").attr("class", "curve green").attr("d",
    d3.line().x(at).y((k) => y(100 * mean[k]))(steps));
  inside.append("path").attr("class", "curve spot").attr("d",
    d3.line().x(at).y((k) => y(100 * readings[k][state.place]))(steps));
  const here = x(state.hour / 24);
  svg.append("path").attr("class", "now").attr("d", `M${here},12V${height - 42}`);
  inside.append("circle").attr("class", "dot spot").attr("r", 5).attr("cx", here)
    .attr("cy", y(100 * readings[now()][state.place]));
  drawDayAxes(svg, x, y, wide, height);
  svg.attr("aria-label", "Reading of this place over the days, with the driest, the wettest and the "
    + "mean of all; the table holds the days.");
}

// --- controls ---------------------------------------------------------------------------------

const everyHours = GIVEN.hours[1] - GIVEN.hours[0];
const SLIDERS = {
  hour: { cm: ["hours", 1, everyHours], in: ["hours", 1, everyHours], said: timeText },
  place: { cm: ["places", 1, 1], in: ["places", 1, 1], said: placeText },
  rod: { cm: ["rods", 1, 0.1], in: ["rods", 2.54, 0.1], said: length },
};

async function draw() {
  water ??= await unpack("water", GIVEN.hours.length);
  readAll();
  Object.keys(SLIDERS).forEach(tell);
  write();
  if (YS) drawMap(); else { drawSection(); drawAlong(); }
  const p = state.place, at = (now() * COUNT + p) * CELLS;
  drawColumn("column", "This place", {
    depth: DEPTHS[p], ends: levels(DEPTHS[p]), porosity: GIVEN.porosity[p],
    now: Array.from(water.subarray(at, at + CELLS), (each) => STEP * each),
    reading: readings[now()][p], reason: "",
  });
  drawDays();
  document.body.dataset.ready = "yes";
}

listen([]);
draw(); // At once: a frame out of sight, as in a notebook, waits for no next one.
