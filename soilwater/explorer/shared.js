"use strict";
// What every page does alike: unpacking, reading a meter, words, the picture of a column, sliders.
// A script that follows this one says what `SLIDERS` and `draw` are.

const GIVEN = JSON.parse(document.getElementById("given").textContent);
const STEP = GIVEN.water_step;
const state = { ...GIVEN.open, units: GIVEN.units };
const byId = (id) => document.getElementById(id);

// --- unpacking --------------------------------------------------------------------------------

async function unpack(id, hours) {
  const text = atob(byId(id).textContent.trim());
  const bytes = new Uint8Array(text.length);
  for (let k = 0; k < text.length; k++) bytes[k] = text.charCodeAt(k);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  const raw = new Uint8Array(await new Response(stream).arrayBuffer());
  const n = raw.length / 2, block = n / hours, values = new Int16Array(n);
  for (let k = 0; k < n; k++) values[k] = raw[k] | (raw[n + k] << 8);
  for (let k = block; k < n; k++) values[k] += values[k - block];
  return values;
}

// --- arithmetic -------------------------------------------------------------------------------

function weights(points, place, low = -Infinity, high = Infinity) {
  const at = Math.min(Math.max(place, points[0]), points[points.length - 1]);
  const count = (test) => { let k = 0; while (k < points.length && test(points[k])) k++; return k; };
  const left = count((p) => p <= at) - 1;
  const begin = count((p) => p < low), end = count((p) => p <= high);
  const first = Math.min(Math.max(left - 1, begin), end - 4);
  const shares = [1, 1, 1, 1];
  for (let i = 0; i < 4; i++)
    for (let j = 0; j < 4; j++)
      if (i !== j)
        shares[i] *= (at - points[first + j]) / (points[first + i] - points[first + j]);
  return { first, shares };
}

function levels(depth) {
  const { beside_surface: top, stretched, stretch } = GIVEN, ends = [];
  for (let k = 0; k <= top; k++) ends.push(k);
  for (let k = 1; k <= stretched; k++)
    ends.push(top + (depth - top) * (1 - (1 - k / stretched) ** stretch));
  return ends;
}

/** How much each cell counts in the mean of the top `length` cm. */
function cellShares(depth, length) {
  const ends = levels(depth), k = weights(ends, length), shares = new Float64Array(ends.length - 1);
  for (let c = 0; c < shares.length; c++)
    for (let j = 0; j < 4; j++)
      if (k.first + j > c) shares[c] += k.shares[j] * (ends[c + 1] - ends[c]) / length;
  return shares;
}

/** Mean of the top `length` cm, for each row of cells in `water`. */
function meanTo(water, depth, length) {
  const shares = cellShares(depth, length), cells = shares.length;
  return Float64Array.from({ length: water.length / cells }, (_, t) =>
    shares.reduce((sum, share, c) => sum + share * water[t * cells + c], 0));
}

function daysTo(hourly, line) {
  const i = hourly.findIndex((each) => each <= line);
  if (i <= 0) return i === 0 ? 0 : Infinity;
  return (i - 1 + (hourly[i - 1] - line) / (hourly[i - 1] - hourly[i])) / 24;
}

// --- words ------------------------------------------------------------------------------------

const inInches = () => state.units === "in";
const percent = (x) => `${(100 * x).toFixed(1)} %`;

function both(first, second) {
  return inInches() ? `${second} (${first})` : `${first} (${second})`;
}
const length = (cm) => both(`${cm.toFixed(1)} cm`, `${(cm / 2.54).toFixed(1)} in`);
const demandText = (mm) => both(`${mm.toFixed(1)} mm/day`, `${(mm / 25.4).toFixed(2)} in/day`);
const amount = (mm) =>
  both(`${mm.toFixed(1)} mm`, `${(mm * GIVEN.gallons_per_mm).toFixed(0)} US gal/1000 ft²`);

function timeText(hour) {
  const clock = String(Math.round((GIVEN.clock + hour) % 24)).padStart(2, "0");
  return `day ${(hour / 24).toFixed(1)} (${clock}:00)`;
}

const oneDay = (days) => (Number.isFinite(days) ? days.toFixed(1) : `> ${GIVEN.days}`);

const setText = (id, text) => { if (byId(id).textContent !== text) byId(id).textContent = text; };

// --- pictures ---------------------------------------------------------------------------------

function sheet(id, height) {
  const holder = byId(id), wide = Math.max(holder.clientWidth, 120);
  let svg = d3.select(holder).select("svg");
  if (svg.empty()) svg = d3.select(holder).append("svg").attr("role", "img");
  svg.selectAll("*").remove();
  svg.attr("viewBox", `0 0 ${wide} ${height}`);
  return [svg, wide];
}

/** Draw water, air and sand of `shown` by depth, with the rod in them. */
function drawColumn(id, name, shown) {
  const height = 330, [svg, wide] = sheet(id, height);
  const x = d3.scaleLinear([0, 100], [40, wide - 14]);
  const unit = inInches() ? 2.54 : 1;
  const y = d3.scaleLinear([0, GIVEN.deepest / unit], [42, height - 56]);
  const at = (cm) => y(cm / unit), left = x(0), right = x(100), base = at(shown.depth);
  const box = (kind, top, bottom) => svg.append("rect").attr("class", kind).attr("x", left)
    .attr("y", top).attr("width", right - left).attr("height", Math.max(bottom - top, 0));
  box("gravel", base, height - 40);
  if (shown.reason) {
    box("solid", at(0), base);
  } else {
    const ends = shown.ends, share = Array.from(shown.now, (each) => 100 * each);
    const places = [[0, share[0]],
      ...share.map((each, c) => [0.5 * (ends[c] + ends[c + 1]), each]),
      [shown.depth, share[share.length - 1]]];
    const porosity = 100 * shown.porosity;
    const fill = (kind, from, to) => svg.append("path").attr("class", kind).attr("d",
      d3.area().y((p) => at(p[0])).x0((p) => x(from(p))).x1((p) => x(to(p)))(places));
    fill("solid", () => porosity, () => 100);
    fill("air", (p) => p[1], () => porosity);
    fill("water", () => 0, (p) => p[1]);
    svg.append("path").attr("class", "edge")
      .attr("d", d3.line().y((p) => at(p[0])).x((p) => x(p[1]))(places));
  }
  box("turf", at(0) - 4, at(0));
  const rod = x(50);
  svg.append("rect").attr("class", "meter").attr("x", rod - 26).attr("y", 14)
    .attr("width", 52).attr("height", 18).attr("rx", 4);
  svg.append("text").attr("class", "display").attr("x", rod).attr("y", 27)
    .text(shown.reason ? "–" : percent(shown.reading));
  svg.append("path").attr("class", "rod").attr("d",
    [-4, 4].map((aside) => `M${rod + aside},32V${at(Math.min(state.rod, shown.depth))}`).join(""));
  svg.append("g").attr("class", "axis").attr("transform", `translate(${left},0)`)
    .call(d3.axisLeft(y).ticks(6).tickSizeOuter(0));
  svg.append("g").attr("class", "axis").attr("transform", `translate(0,${height - 40})`)
    .call(d3.axisBottom(x).tickValues([0, 25, 50, 75, 100]).tickSizeOuter(0));
  svg.append("text").attr("class", "label").attr("x", 0.5 * (left + right)).attr("y", height - 8)
    .text("% by volume");
  svg.append("text").attr("class", "label").attr("transform", `translate(11,${height / 2})rotate(-90)`)
    .text(inInches() ? "depth (in)" : "depth (cm)");
  svg.attr("aria-label", shown.reason ? shown.reason
    : `${name}: water, air and sand by depth, root zone ${length(shown.depth)}, the rod `
      + `${length(state.rod)} long reads ${percent(shown.reading)}.`);
}

/** Draw the axes of a picture of readings over days. */
function drawDayAxes(svg, x, y, wide, height) {
  svg.append("g").attr("class", "axis").attr("transform", `translate(0,${height - 42})`)
    .call(d3.axisBottom(x).ticks(Math.min(GIVEN.days, 7)).tickSizeOuter(0));
  svg.append("g").attr("class", "axis").attr("transform", `translate(${x(0)},0)`)
    .call(d3.axisLeft(y).ticks(6).tickSizeOuter(0));
  svg.append("text").attr("class", "label").attr("x", 0.5 * wide).attr("y", height - 8)
    .text("days since the start");
  svg.append("text").attr("class", "label").attr("transform", `translate(12,${height / 2})rotate(-90)`)
    .text("meter reading (% by volume)");
}

// --- controls ---------------------------------------------------------------------------------

/** Set the ends and steps of a slider to whole steps of the unit that is shown. */
function scaleSlider(name) {
  const [axis, unit, step] = SLIDERS[name][state.units], slider = byId(name);
  const [low, high] = GIVEN.range[axis], whole = (x) => +(x * step).toFixed(6);
  slider.step = step;
  slider.min = whole(Math.ceil(low / unit / step - 1e-9));
  slider.max = whole(Math.floor(high / unit / step + 1e-9));
  slider.value = state[name] / unit;
}

function tell(name) {
  const text = SLIDERS[name].said(state[name]);
  setText(`${name}-value`, text);
  byId(name).setAttribute("aria-valuetext", text);
}

let waiting = false;

/** Draw at the next frame, once, however many events come before it. */
function refresh() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    draw();
  });
}

/** Let every slider and choice draw the page anew when it is moved. */
function listen(choices) {
  for (const name of Object.keys(SLIDERS)) {
    scaleSlider(name);
    byId(name).addEventListener("input", () => {
      state[name] = +byId(name).value * SLIDERS[name][state.units][1];
      refresh();
    });
  }
  for (const name of choices) byId(name).addEventListener("change", refresh);
  byId("units").addEventListener("change", () => {
    state.units = byId("units").value;
    Object.keys(SLIDERS).forEach(scaleSlider);
    refresh();
  });
  addEventListener("resize", refresh);
}
