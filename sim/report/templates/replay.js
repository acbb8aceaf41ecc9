"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const byId = (id) => document.getElementById(id);
  const INK = "#22303a", MARK = "#8a3b2e", SPAN = data.span_s;
  const BANDS = [[0.5, "#e3ebf1"], [2, "#bccfdf"], [5, "#93b0cd"], [10, "#688db8"], [20, "#43689f"], [40, "#2b4380"], [80, "#1b2254"]];
  const RGB = BANDS.map(([rate, hex]) => [rate, 1, 3, 5].map((at, i) => (i ? parseInt(hex.slice(at, at + 2), 16) : rate)));
  const escaped = (text) => String(text).replace(/[&<>"]/g, (c) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[c]);

  // ---- the course of things: the last step that began at or before a time
  const at = (steps, t) => {
    let low = 0, high = steps.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (steps[middle][0] <= t) low = middle; else high = middle - 1;
    }
    return steps[low];
  };
  const clock = (t) => {
    let day = data.days[0][1];
    for (const [begin, name] of data.days) if (begin <= t) day = name;
    const second = Math.floor((data.clock_s + t) % 86400);
    const two = (n) => String(n).padStart(2, "0");
    return `${day} ${two(Math.floor(second / 3600))}:${two(Math.floor(second / 60) % 60)}:${two(second % 60)}`;
  };

  // ---- where things are on the map: x east, y south, in units of a picture 720 wide
  const W = 720, CELL = 5;
  const siteNumber = new Map(data.sites.map((s, i) => [s[0], i]));
  const everywhere = data.sites.map((_, i) => i);
  const nearby = [...new Set([...data.routes.flat().flatMap((h) => [data.hops[h][1], data.hops[h][2]]),
    ...data.failures.filter((f) => f.affecting).map((f) => f.site)])];
  const spread = (sites, axis) => { const v = sites.map((i) => data.sites[i][axis]); return [Math.min(...v), Math.max(...v)]; };
  let H, scale, midX, midY, place, gw, gh, grid, east, north, px, py, bar;
  const setView = (sites) => {
    const [west, right] = spread(sites, 1), [south, top] = spread(sites, 2);
    const wide = Math.max(right - west, 2), tall = Math.max(top - south, 2);
    H = Math.round(Math.min(Math.max((W * tall) / wide, 300), 520));
    scale = Math.min((0.8 * W) / wide, (0.74 * H) / tall);
    midX = (west + right) / 2; midY = (south + top) / 2;
    px = (x) => W / 2 + (x - midX) * scale;
    py = (y) => H / 2 - (y - midY) * scale;
    place = data.sites.map((s) => [px(s[1]), py(s[2])]);
    gw = Math.ceil(W / CELL); gh = Math.ceil(H / CELL);
    grid = new Float32Array(gw * gh);
    east = Float64Array.from({ length: gw }, (_, i) => midX + ((i + 0.5) * CELL - W / 2) / scale);
    north = Float64Array.from({ length: gh }, (_, j) => midY - ((j + 0.5) * CELL - H / 2) / scale);
    const km = [0.5, 1, 2, 5, 10, 20, 50, 100, 200].filter((s) => s * scale < W / 4).pop() || 0.5;
    bar = `<g>${line([14, H - 14], [14 + km * scale, H - 14], `stroke="${INK}" stroke-width="2.4"`)}<text class="small" x="14" y="${H - 19}">${km} km</text><text class="small" x="${W - 16}" y="30" text-anchor="middle">N</text><path d="M${W - 16} 6v12m-4 -7l4 -6l4 6" stroke="${INK}" fill="none" stroke-width="1.6"/></g>`;
  };
  const line = (a, b, style) => `<line x1="${a[0].toFixed(1)}" y1="${a[1].toFixed(1)}" x2="${b[0].toFixed(1)}" y2="${b[1].toFixed(1)}" ${style}/>`;

  // ---- rain: the rates of moving Gaussian shapes add
  const alive = (t) => data.rain.shapes.filter((s) => s[0] <= t && t < s[0] + s[1]);
  const addShape = (shape, t, visit) => {
    const [birth, life, x, y, vx, vy, peak, largest, ratio, bearing, kind] = shape;
    const [weight, inner, outer] = data.rain.profiles[kind];
    const age = t - birth, rho = largest * Math.sqrt(Math.sin((Math.PI * age) / life));
    if (!(rho > 0)) return;
    const cx = x + (vx * age) / 1000, cy = y + (vy * age) / 1000;
    const east = Math.sin(bearing), north = Math.cos(bearing);
    visit(cx, cy, 3.5 * outer * rho * Math.sqrt(ratio), (px_, py_) => {
      const dx = px_ - cx, dy = py_ - cy;
      const u = dx * east + dy * north, v = dx * north - dy * east;
      const q = (u * u / ratio + v * v * ratio) / (2 * rho * rho);
      return peak * ((weight ? weight * Math.exp(-q / (inner * inner)) : 0) + (1 - weight) * Math.exp(-q / (outer * outer)));
    });
  };
  const rateAt = (x, y, t) => {
    let sum = 0;
    for (const shape of alive(t)) addShape(shape, t, (cx, cy, reach, rate) => { sum += rate(x, y); });
    return sum;
  };
  window.rainRateAt = rateAt;
  const small = document.createElement("canvas");
  const drawRain = (canvas, t) => {
    grid.fill(0);
    for (const shape of alive(t)) {
      addShape(shape, t, (cx, cy, reach, rate) => {
        const i0 = Math.max(0, Math.floor((px(cx - reach)) / CELL)), i1 = Math.min(gw, Math.ceil(px(cx + reach) / CELL));
        const j0 = Math.max(0, Math.floor(py(cy + reach) / CELL)), j1 = Math.min(gh, Math.ceil(py(cy - reach) / CELL));
        for (let j = j0; j < j1; j++) for (let i = i0; i < i1; i++) grid[j * gw + i] += rate(east[i], north[j]);
      });
    }
    small.width = gw; small.height = gh;
    const pen = small.getContext("2d"), image = pen.createImageData(gw, gh);
    let most = 0;
    for (let k = 0; k < grid.length; k++) {
      if (grid[k] > grid[most]) most = k;
      for (let b = RGB.length - 1; b >= 0; b--) {
        if (grid[k] >= RGB[b][0]) { image.data.set([RGB[b][1], RGB[b][2], RGB[b][3], 255], 4 * k); break; }
      }
    }
    pen.putImageData(image, 0, 0);
    canvas.width = W; canvas.height = H;
    const main = canvas.getContext("2d");
    main.imageSmoothingEnabled = true;
    main.drawImage(small, 0, 0, gw * CELL, gh * CELL);
    return { rate: grid[most], x: ((most % gw) + 0.5) * CELL, y: (Math.floor(most / gw) + 0.5) * CELL };
  };

  // ---- hops, sites, crews as signs that need no colour
  const service = data.services.indexOf(data.service);
  const routeAt = (t) => data.routes[at(data.service_steps[service], t)[5] - 1] || [];
  const STYLES = {
    full: `stroke="${INK}" stroke-width="3"`,
    less: `stroke="${INK}" stroke-width="3" stroke-dasharray="10 4"`,
    down: `stroke="${MARK}" stroke-width="3" stroke-dasharray="2 6"`,
  };
  const cross = (x, y) => `<path d="M${x - 6} ${y - 6}l12 12m0 -12l-12 12" stroke="${MARK}" stroke-width="3.2" fill="none"/>`;
  const crewSign = (x, y) => `<rect x="${x - 7}" y="${y - 6}" width="14" height="10" rx="2" fill="#fff" stroke="${INK}" stroke-width="2"/><circle cx="${x - 3.5}" cy="${y + 5}" r="2.2" fill="${INK}"/><circle cx="${x + 3.5}" cy="${y + 5}" r="2.2" fill="${INK}"/>`;
  const failSign = (x, y) => `<path d="M${x} ${y - 8}l8 14h-16z" fill="#fff" stroke="${MARK}" stroke-width="2.2"/><path d="M${x} ${y - 3}v5m0 1.4v1.6" stroke="${MARK}" stroke-width="2"/>`;
  const stageOf = (f, t) => {
    const [failed, noticed, spare, leaves, arrives, mended] = f.stages_s;
    if (t < failed || t >= mended) return null;
    if (t < noticed) return "unnoticed";
    if (t < spare) return "waiting for a spare";
    if (!f.crew) return "being mended from afar";
    if (t < leaves) return "waiting for a crew";
    return t < arrives ? "crew on the road" : "being mended";
  };
  const drawSigns = (t, peak) => {
    const out = [], names = [];
    for (const hop of new Set(routeAt(t))) {
      const [, a, b] = data.hops[hop];
      out.push(line(place[a], place[b], 'stroke="#f0d493" stroke-width="13" stroke-linecap="round" opacity="0.85"'));
    }
    data.hops.forEach(([, a, b, best], i) => {
      const step = at(data.hop_steps[i], t), states = Math.min(step[1], step[2]);
      const mood = states === 0 ? "down" : states < best ? "less" : "full";
      out.push(line(place[a], place[b], 'stroke="#fff" stroke-width="6.5" opacity="0.75"'), line(place[a], place[b], STYLES[mood]));
      const x = (place[a][0] + place[b][0]) / 2, y = (place[a][1] + place[b][1]) / 2;
      if (mood === "down") out.push(cross(x, y));
      if (mood === "less") names.push(`<text x="${x}" y="${y - 5}" text-anchor="middle">${states}</text>`);
    });
    data.sites.forEach(([id], i) => {
      const [x, y] = place[i];
      const bad = new Set(data.power.filter((p) => p[0] === i && p[2] <= t && t < p[3]).map((p) => p[1]));
      const dark = bad.has("without power"), mains = bad.has("mains lost"), work = bad.has("planned work");
      out.push(`<circle cx="${x}" cy="${y}" r="5.5" fill="${dark ? INK : "#fff"}" stroke="${INK}" stroke-width="2"/>`);
      if (mains && !dark) out.push(`<path d="M${x} ${y - 5.5}a5.5 5.5 0 0 1 0 11z" fill="${INK}"/>`);
      const more = [dark && "no power", mains && !dark && "on battery", work && "planned work"].filter(Boolean).join(", ");
      if (x < 4 || x > W - 4 || y < 14 || y > H - 8) return; // half a name at the edge helps nobody
      const side = x > 0.78 * W ? `x="${x - 9}" text-anchor="end"` : `x="${x + 9}"`;
      names.push(`<text ${side} y="${y + 4}">${escaped(id)}</text>`);
      if (more) names.push(`<text class="small" ${side} y="${y + 15}">${more}</text>`);
    });
    const shown = new Map();
    for (const f of data.failures) {
      const stage = stageOf(f, t);
      if (!stage) continue;
      const [x, y] = place[f.site];
      if (f.affecting) {
        const row = shown.get(f.site) || 0;
        shown.set(f.site, row + 1);
        if (!row) out.push(failSign(x - 13, y));
        if (row < 3) names.push(`<text class="small" x="${x - 9}" y="${y + 24 + 11 * row}">${escaped(f.kind)}: ${stage}</text>`);
      }
      if (stage === "crew on the road" && siteNumber.has(f.base)) {
        const from = place[siteNumber.get(f.base)], share = (t - f.stages_s[3]) / (f.stages_s[4] - f.stages_s[3]);
        out.push(line(from, place[f.site], `stroke="${INK}" stroke-width="1" stroke-dasharray="1 4"`));
        out.push(crewSign(from[0] + share * (x - from[0]), from[1] + share * (y - from[1])));
      } else if (stage === "being mended") out.push(crewSign(x - 2, y - 15));
    }
    if (peak && peak.rate >= 1) names.push(`<text class="small" x="${Math.min(peak.x, W - 60)}" y="${Math.max(peak.y, 12)}">${Math.round(peak.rate)} mm/h</text>`);
    return out.join("") + names.join("");
  };
  // ---- words for one moment
  const say = (t, peak) => {
    const s = at(data.service_steps[service], t), parts = [];
    const rate = Math.min(s[2], s[3]);
    parts.push(`${data.service} ${s[1] ? "is down" : s[4] ? "is up" : `is below its committed rate, ${rate} Mbit/s`}${s[6] && !s[4] ? ` (${s[6]})` : ""}${s[5] ? `, route ${s[5]}` : ", changing route"}`);
    const others = data.services.filter((name, i) => i !== service && at(data.service_steps[i], t)[1]);
    if (others.length) parts.push(`also down: ${others.slice(0, 6).join(", ")}${others.length > 6 ? ` and ${others.length - 6} more` : ""}`);
    const down = data.hops.filter((h, i) => Math.min(...at(data.hop_steps[i], t).slice(1, 3)) === 0).map((h) => h[0]);
    if (down.length) parts.push(`hops down: ${down.slice(0, 6).join(", ")}${down.length > 6 ? ` and ${down.length - 6} more` : ""}`);
    if (peak && peak.rate >= 0.5) parts.push(`strongest rain on the map ${peak.rate < 10 ? peak.rate.toFixed(1) : Math.round(peak.rate)} mm/h`);
    return `${clock(t)} · ${parts.join(" · ")}`;
  };

  // ---- courses over the whole time
  const LEFT = 120, RIGHT = 6, ROW = 20;
  const tx = (t) => LEFT + ((W - LEFT - RIGHT) * t) / SPAN;
  const strips = () => {
    const rows = [];
    const stretch = (steps, draw) => steps.map((s, i) => draw(s, tx(s[0]), tx(i + 1 < steps.length ? steps[i + 1][0] : SPAN))).join("");
    const order = data.services.map((_, i) => i).sort((a, b) => (b === service) - (a === service));
    for (const i of order) {
      const steps = data.service_steps[i];
      if (i !== service && !steps.some((s) => s[1])) continue;
      if (rows.length > 9) break;
      rows.push([`service ${data.services[i]}`, (y) => stretch(steps, (s, a, b) => {
        const [top, tall, fill] = s[1] ? [3, 14, MARK] : s[4] ? [9, 2, INK] : [6, 8, "#a9a39a"];
        return `<rect x="${a.toFixed(1)}" y="${y + top}" width="${Math.max(b - a, 0.6).toFixed(1)}" height="${tall}" fill="${fill}"/>`;
      })]);
    }
    const hops = [...new Set(data.routes.flat())].filter((i) => data.hop_steps[i].length > 1).slice(0, 12);
    for (const i of hops) {
      const steps = data.hop_steps[i], ladder = [...new Set([0, ...steps.flatMap((s) => [s[1], s[2]]), data.hops[i][3]])].sort((a, b) => a - b);
      rows.push([data.hops[i][0], (y) => stretch(steps, (s, a, b) => {
        const rank = ladder.indexOf(Math.min(s[1], s[2])) / (ladder.length - 1);
        const tall = 1.5 + 14 * (1 - rank);
        return `<rect x="${a.toFixed(1)}" y="${(y + 18 - tall).toFixed(1)}" width="${Math.max(b - a, 0.6).toFixed(1)}" height="${tall.toFixed(1)}" fill="${rank === 0 ? MARK : INK}"/>`;
      })]);
    }
    const h = ROW * rows.length + 22;
    const ticks = [0, 0.25, 0.5, 0.75, 1].map((s) => `<text x="${tx(s * SPAN)}" y="${h - 4}" text-anchor="${s === 0 ? "start" : s === 1 ? "end" : "middle"}">${clock(s * SPAN).replace(/:\d\d$/, "")}</text>`);
    const box = `<rect x="${tx(data.outage_s[0])}" y="0" width="${tx(data.outage_s[1]) - tx(data.outage_s[0])}" height="${h - 18}" fill="#f0d493" opacity="0.35"/>`;
    byId("strips").innerHTML = `<svg viewBox="0 0 ${W} ${h}" role="img" aria-label="Courses of services and hops; the outage is shaded, a tall bar is down">${box}${rows.map(([name, draw], r) => `<text x="0" y="${r * ROW + 14}">${escaped(name.length > 19 ? name.slice(0, 18) + "…" : name)}</text>${draw(r * ROW)}`).join("")}${ticks.join("")}<line id="cursor" y1="0" y2="${h - 18}" stroke="${INK}" stroke-width="1.6"/></svg>`;
  };

  // ---- the legend
  const sample = (inner, width = 34) => `<svg width="${width}" height="18" viewBox="0 0 ${width} 18" aria-hidden="true">${inner}</svg>`;
  byId("legend").innerHTML = [
    [sample(line([1, 9], [33, 9], STYLES.full)), "hop at its best"],
    [sample(line([1, 9], [33, 9], STYLES.less)), "at a lower modulation (its states beside it)"],
    [sample(line([1, 9], [33, 9], STYLES.down) + cross(17, 9)), "hop down"],
    [sample(line([6, 9], [28, 9], 'stroke="#f0d493" stroke-width="11" stroke-linecap="round"')), "route in use"],
    [sample(failSign(9, 10), 18), "failed part"],
    [sample(crewSign(9, 9), 18), "crew"],
    [sample(`<circle cx="9" cy="9" r="5.5" fill="#fff" stroke="${INK}" stroke-width="2"/><path d="M9 3.5a5.5 5.5 0 0 1 0 11z" fill="${INK}"/>`, 18), "mains lost; black: no power"],
    [sample(BANDS.map(([, c], i) => `<rect x="${i * 16}" y="2" width="16" height="14" fill="${c}"/>`).join(""), 112), `rain from ${BANDS.map((b) => b[0]).join(", ")} mm/h on`],
  ].filter((_, i) => i < 7 || data.rain.shapes.length).map(([sign, words]) => `<li>${sign}${words}</li>`).join("");

  // ---- time
  const map = byId("map"), canvas = map.querySelector("canvas"), svg = map.querySelector("svg"), slider = byId("time");
  strips();
  const view = (sites) => { setView(sites); svg.setAttribute("viewBox", `0 0 ${W} ${H}`); };
  view(nearby.length ? nearby : everywhere);
  const items = [...document.querySelectorAll("#words li[data-time]")], times = items.map((li) => Number(li.dataset.time));
  const STEPS = 600;
  let now = 0, playing = false, last = 0;
  const show = (t, spoken) => {
    now = Math.min(Math.max(t, 0), SPAN);
    const peak = drawRain(canvas, now), words = say(now, peak);
    svg.innerHTML = drawSigns(now, peak) + bar;
    byId("map-words").textContent = words;
    byId("map-words").setAttribute("aria-live", spoken ? "polite" : "off");
    slider.value = Math.round((STEPS * now) / SPAN);
    slider.setAttribute("aria-valuetext", clock(now));
    const cursor = byId("cursor");
    cursor.setAttribute("x1", tx(now)); cursor.setAttribute("x2", tx(now));
    let on = -1;
    times.forEach((each, i) => { if (each <= now + 0.05) on = i; });
    items.forEach((li, i) => li.classList.toggle("now-on", i === on));
    if (on >= 0) { const list = byId("words"); const li = items[on]; if (li.offsetTop < list.scrollTop + list.offsetTop || li.offsetTop + li.offsetHeight > list.scrollTop + list.offsetTop + list.clientHeight) list.scrollTop = li.offsetTop - list.offsetTop - list.clientHeight / 3; }
  };
  const play = (on) => {
    playing = on;
    byId("play").textContent = on ? "Pause" : "Play";
    byId("play").setAttribute("aria-pressed", on);
    if (on) { if (now >= SPAN) now = 0; last = performance.now(); requestAnimationFrame(tick); } else show(now, true);
  };
  const tick = (stamp) => {
    if (!playing) return;
    const t = now + ((stamp - last) / 1000) * (SPAN / Number(byId("pace").value));
    last = stamp;
    if (t >= SPAN) { now = SPAN; play(false); return; }
    show(t, false);
    requestAnimationFrame(tick);
  };
  const jump = (way) => {
    const found = way > 0 ? times.find((t) => t > now + 0.05) : [...times].reverse().find((t) => t < now - 0.05);
    play(false);
    show(found === undefined ? (way > 0 ? SPAN : 0) : found, true);
  };
  byId("play").addEventListener("click", () => play(!playing));
  byId("whole").addEventListener("click", (event) => {
    const on = event.target.getAttribute("aria-pressed") !== "true";
    event.target.setAttribute("aria-pressed", on);
    view(on || !nearby.length ? everywhere : nearby);
    show(now, false);
  });
  byId("back").addEventListener("click", () => jump(-1));
  byId("forward").addEventListener("click", () => jump(1));
  slider.addEventListener("input", () => { playing = false; play(false); show((SPAN * slider.value) / STEPS, true); });
  items.forEach((li, i) => li.querySelector("button").addEventListener("click", () => { play(false); show(times[i], true); }));
  byId("strips").addEventListener("click", (event) => {
    const box = byId("strips").querySelector("svg").getBoundingClientRect();
    const x = ((event.clientX - box.left) / box.width) * W;
    if (x >= LEFT) { play(false); show((SPAN * (x - LEFT)) / (W - LEFT - RIGHT), true); }
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.tagName === "SELECT") return;
    const step = (SPAN / STEPS) * (event.shiftKey ? 10 : 1), key = event.key.toLowerCase();
    if (key === " " && event.target.tagName !== "BUTTON") play(!playing);
    else if (key === "arrowright" || key === "arrowleft") { play(false); show(now + (key === "arrowright" ? step : -step), true); }
    else if (key === "n") jump(1);
    else if (key === "p") jump(-1);
    else return;
    event.preventDefault();
  });

  // ---- frames for print: the moments that matter, spread over the whole
  const wanted = [0, ...data.service_steps[service].map((s) => s[0]).filter((t) => t > 0)];
  const even = Array.from({ length: 9 }, (_, i) => (SPAN * i) / 8);
  const chosen = [];
  for (const t of [wanted[0], ...wanted.slice(1, 5), ...even, SPAN]) {
    if (chosen.length < 8 && chosen.every((other) => Math.abs(other - t) > SPAN / 60)) chosen.push(Math.min(t, SPAN - 0.1));
  }
  for (const t of chosen.sort((a, b) => a - b)) {
    const figure = document.createElement("figure");
    figure.innerHTML = `<div class="map"><canvas aria-hidden="true"></canvas><svg viewBox="0 0 ${W} ${H}" role="img"></svg></div><figcaption></figcaption>`;
    const peak = drawRain(figure.querySelector("canvas"), t), words = say(t, peak);
    figure.querySelector("svg").innerHTML = drawSigns(t, peak) + bar;
    figure.querySelector("svg").setAttribute("aria-label", words);
    figure.querySelector("figcaption").textContent = words;
    byId("frames").append(figure);
  }
  show(data.outage_s[0] + 1, true);
})();
