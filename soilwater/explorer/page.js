// A lattice of depths and demands: what `arithmetic.py` says in Python is said here again, step by
// step.

const FLAT = GIVEN.flat, SUNRISE = GIVEN.sunrise;
const NAMES = { spot: "This spot", green: "The rest of the green" };
const LINES = ["firm", "watch", "wilt"];

// --- unpacking --------------------------------------------------------------------------------

const unpacked = new Map();

function lattice(number) {
  if (!unpacked.has(number)) {
    const described = GIVEN.lattices[number], bands = described.bands;
    unpacked.set(number, Promise.all([
      unpack(`water-${number}`, described.hours.length),
      bands ? unpack(`bands-${number}`, described.hours.length) : null,
    ]).then(([water, offsets]) => ({
      ...described, water, bands: bands ? { ...bands, offsets } : null,
    })));
  }
  return unpacked.get(number);
}

// --- arithmetic -------------------------------------------------------------------------------

function failure(grid, depth, demand) {
  const i = weights(grid.depths, depth), j = weights(grid.demands, demand);
  for (const [a, b, reason] of grid.failed) {
    const row = a - i.first, column = b - j.first;
    if (row >= 0 && row < 4 && column >= 0 && column < 4 && i.shares[row] * j.shares[column] !== 0)
      return reason;
  }
  return "";
}

/** Mix the sixteen columns around a place; depths and demands are the last axes of `values`. */
function mix(values, grid, depth, demand) {
  const i = weights(grid.depths, depth), j = weights(grid.demands, demand);
  const wide = grid.demands.length, block = grid.depths.length * wide;
  const mixed = new Float64Array(values.length / block);
  for (let k = 0; k < mixed.length; k++) {
    let sum = 0;
    for (let a = 0; a < 4; a++) {
      const at = k * block + (i.first + a) * wide + j.first;
      sum += i.shares[a] * (j.shares[0] * values[at] + j.shares[1] * values[at + 1]
        + j.shares[2] * values[at + 2] + j.shares[3] * values[at + 3]);
    }
    mixed[k] = STEP * sum;
  }
  return mixed;
}

function waterOf(grid, depth, demand) {
  return mix(grid.water, grid, depth, demand)
    .map((each) => Math.min(Math.max(each, 0), grid.porosity));
}

function restOf(grid, depth) {
  const i = weights(grid.depths, depth);
  return grid.rest[0].map((_, c) =>
    i.shares.reduce((sum, share, a) => sum + share * grid.rest[i.first + a][c], 0));
}

/** Values at an hour; where the sun rises or sets a series bends, and no cubic goes across. */
function atHour(hours, values, hour) {
  const half = 12 * Math.floor((hour - SUNRISE) / 12) + SUNRISE;
  const t = weights(hours, hour, half, half + 12), wide = values.length / hours.length;
  const mixed = new Float64Array(wide);
  for (let c = 0; c < wide; c++)
    for (let a = 0; a < 4; a++) mixed[c] += t.shares[a] * values[(t.first + a) * wide + c];
  return mixed;
}

function everyHour(hours, values) {
  const hourly = new Float64Array(hours[hours.length - 1] + 1);
  for (let h = 0; h < hourly.length; h++) hourly[h] = atHour(hours, values, h)[0];
  return hourly;
}

function bandOf(bands, depth, demand, rod) {
  const ends = mix(bands.offsets, bands, depth, demand), n = bands.rods.length;
  let k = 0;
  while (k < n - 1 && bands.rods[k] <= rod) k++;
  const share = (rod - bands.rods[k - 1]) / (bands.rods[k] - bands.rods[k - 1]);
  const times = ends.length / (2 * n);
  return [0, 1].map((side) => Float64Array.from({ length: times }, (_, t) => {
    const at = (t * n + k) * 2 + side;
    const offset = (1 - share) * ends[at - 2] + share * ends[at];
    return side === 0 ? Math.min(offset, 0) : Math.max(offset, 0);
  }));
}

function millimetresBack(water, rest, depth, length) {
  return Math.max(0, 10 * length
    * (meanTo(rest, depth, length)[0] - meanTo(water, depth, length)[0]));
}

/** Everything the page shows of one column. */
function answer(grid, depth) {
  const { demand, rod, hour } = state;
  const reason = failure(grid, depth, demand)
    || (rod > depth ? "The rod is longer than the root zone is deep." : "");
  if (reason) return { depth, reason };
  const all = waterOf(grid, depth, demand), now = atHour(grid.hours, all, hour);
  const hourly = everyHour(grid.hours, meanTo(all, depth, rod));
  const rest = restOf(grid, depth);
  const band = grid.bands
    ? bandOf(grid.bands, depth, demand, rod).map((offsets) =>
      everyHour(grid.hours, offsets).map((each, h) => hourly[h] + each))
    : null;
  return {
    depth, reason, now, hourly, band, ends: levels(depth), porosity: grid.porosity,
    reading: hourly[hour],
    back: millimetresBack(now, rest, depth, rod),
    backWhole: millimetresBack(now, rest, depth, depth),
  };
}

// --- words ------------------------------------------------------------------------------------

function daysText(shown, line) {
  if (shown.reason) return "–";
  const parts = [];
  const [early, late] = [daysTo(shown.hourly, line + FLAT), daysTo(shown.hourly, line - FLAT)];
  if (late - early > 0.3) parts.push(`along the line ${oneDay(early)} to ${oneDay(late)}`);
  if (shown.band) {
    const [low, high] = shown.band.map((edge) => oneDay(daysTo(edge, line)));
    if (low !== high) parts.push(`four in five ${low} to ${high}`);
  }
  const own = oneDay(daysTo(shown.hourly, line));
  return parts.length ? `${own} (${parts.join("; ")})` : own;
}

function readingText(shown) {
  if (shown.reason) return "–";
  const band = shown.band
    ? ` (four in five ${(100 * shown.band[0][state.hour]).toFixed(1)} to ${
      percent(shown.band[1][state.hour])})` : "";
  return percent(shown.reading) + band;
}

function sentence(name, shown) {
  const begin = `${NAMES[name]}, ${length(shown.depth)} deep,`;
  return shown.reason ? `${begin} has no answer: ${shown.reason}`
    : `${begin} reads ${percent(shown.reading)} on ${timeText(state.hour)} and reaches ${
      LINES.map((each) => `${each} on day ${oneDay(daysTo(shown.hourly, GIVEN.lines[each]))}`)
        .join(", ")}.`;
}

function write(shown) {
  for (const name of ["spot", "green"]) {
    const one = shown[name];
    setText(`said-${name}`, sentence(name, one));
    setText(`reading-${name}`, readingText(one));
    for (const each of LINES) setText(`${each}-${name}`, daysText(one, GIVEN.lines[each]));
    setText(`back-${name}`, one.reason ? "–" : amount(one.back));
    setText(`whole-${name}`, one.reason ? "–" : amount(one.backWhole));
  }
  setText("rod-said", length(state.rod));
}

// --- pictures ---------------------------------------------------------------------------------

function drawDays(shown) {
  const height = 330, [svg, wide] = sheet("days", height);
  const known = ["green", "spot"].filter((name) => !shown[name].reason);
  const later = (series) => Math.max(...series.slice(12));
  const highest = Math.max(GIVEN.lines.firm + 0.04,
    ...known.map((name) => later((shown[name].band ?? [])[1] ?? shown[name].hourly)));
  const x = d3.scaleLinear([0, GIVEN.days], [42, wide - 12]);
  const y = d3.scaleLinear([0, 5 * Math.ceil(20 * highest + 0.2)], [height - 42, 12]);
  const inside = svg.append("g").attr("clip-path", "url(#days-inside)");
  svg.append("clipPath").attr("id", "days-inside").append("rect").attr("x", x(0)).attr("y", 12)
    .attr("width", x(GIVEN.days) - x(0)).attr("height", height - 54);
  const ends = [...LINES.map((each) => 100 * GIVEN.lines[each]), 0];
  LINES.forEach((each, i) => {
    inside.append("rect").attr("class", `zone-${each}`).attr("x", x(0)).attr("y", y(ends[i]))
      .attr("width", x(GIVEN.days) - x(0)).attr("height", y(ends[i + 1]) - y(ends[i]));
    inside.append("path").attr("class", "threshold").attr("d", `M${x(0)},${y(ends[i])}H${x(GIVEN.days)}`);
  });
  // Every second hour, as stored: no eye sees more, and drawing is what a slider waits for.
  const hours = Array.from({ length: 12 * GIVEN.days + 1 }, (_, k) => 2 * k);
  for (const name of known) {
    const { hourly, band } = shown[name];
    if (band)
      inside.append("path").attr("class", `band ${name}`).attr("d", d3.area().x((h) => x(h / 24))
        .y0((h) => y(100 * band[0][h])).y1((h) => y(100 * band[1][h]))(hours));
    inside.append("path").attr("class", `curve ${name}`).attr("d",
      d3.line().x((h) => x(h / 24)).y((h) => y(100 * hourly[h]))(hours));
  }
  inside.append("path").attr("class", "now").attr("d", `M${x(state.hour / 24)},12V${height - 42}`);
  for (const name of known)
    inside.append("circle").attr("class", `dot ${name}`).attr("r", 5)
      .attr("cx", x(state.hour / 24)).attr("cy", y(100 * shown[name].reading));
  LINES.forEach((each, i) => inside.append("text").attr("class", "line-name")
    .attr("x", x(GIVEN.days) - 4).attr("y", y(ends[i]) + 12)
    .text(`${each} ${+(100 * GIVEN.lines[each]).toFixed(1)} %`));
  drawDayAxes(svg, x, y, wide, height);
  svg.attr("aria-label", `Meter reading over ${GIVEN.days} days with the lines firm, watch and wilt;`
    + " the table holds the days.");
}

// --- controls ---------------------------------------------------------------------------------

const SLIDERS = {
  spot: { cm: ["depths", 1, 0.5], in: ["depths", 2.54, 0.25], said: length },
  green: { cm: ["depths", 1, 0.5], in: ["depths", 2.54, 0.25], said: length },
  demand: { cm: ["demands", 1, 0.1], in: ["demands", 25.4, 0.005], said: demandText },
  hour: { cm: ["hours", 1, 3], in: ["hours", 1, 3], said: timeText },
  rod: { cm: ["rods", 1, 0.1], in: ["rods", 2.54, 0.1], said: length },
};

async function draw() {
  const chosen = () => +byId("sand").value * GIVEN.bases + +byId("base").value;
  const number = chosen(), grid = await lattice(number);
  if (number !== chosen()) return; // Another was chosen while this one was unpacked.
  const shown = { spot: answer(grid, state.spot), green: answer(grid, state.green) };
  Object.keys(SLIDERS).forEach(tell);
  write(shown);
  drawColumn("column-spot", NAMES.spot, shown.spot);
  drawColumn("column-green", NAMES.green, shown.green);
  drawDays(shown);
  document.body.dataset.ready = "yes";
}

listen(["sand", "base"]);
draw(); // At once: a frame out of sight, as in a notebook, waits for no next one.
