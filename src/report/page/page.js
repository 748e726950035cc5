"use strict";
// The page reads without this script; it adds choosing, judging for another use, and the large view of a frame.
(() => {
  const el = (id) => document.getElementById(id);
  const audit = JSON.parse(el("audit").textContent);
  const frames = audit.frames, nonce = document.currentScript.nonce;
  const ZONES = ["near", "far", "centre", "top left", "top right", "bottom left", "bottom right"];
  const STATES = ["measured", "too little detail to measure", "too many clipped samples", "its detail is not above the noise", "fine detail: only known to be at most so blurred", "no fine detail: only known to be at least so blurred", "the folder of pictures is not beside this page"];
  const GLYPHS = ["", "\u00b7", "\u00d7", "~", "\u2264", "\u2265", ""];
  const STANDINGS = ["on the ground", "part of the far scene", "nearer than the ground behind it", "farther than the ground there", "soft by nature: cloud, water, haze or something that moved", "not measured"];
  const make = (name, text, attributes) => {
    const node = document.createElement(name);
    if (text !== undefined && text !== null) node.textContent = text;
    for (const key in attributes || {}) node.setAttribute(key, attributes[key]);
    return node;
  };
  const drawn = (name, attributes) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    return node;
  };
  const clamp = (v, low, high) => Math.min(high, Math.max(low, v));
  const fixed = (v, sd) => v.toFixed(sd >= 1 ? 0 : sd >= 0.2 ? 1 : 2);
  const withSd = (v, sd) => fixed(v, sd) + " \u00b1 " + fixed(Math.max(sd, sd < 0.2 ? 0.01 : 0), sd);

  // ---- Numbers of a frame -------------------------------------------------------------------------------

  // Nine bytes a tile, the blur being the optical one: see the packing in the report's source.
  function tilesOf(f) {
    if (f.unpacked) return f.unpacked;
    const text = atob(f.tiles || "");
    const part = (c) => c === 0 ? null : c === 1 ? 0 : 0.02 * Math.pow(1.025, c - 2);
    const tiles = [];
    for (let i = 0; i + 8 < text.length; i += 9) {
      const at = (k) => text.charCodeAt(i + k);
      const blur = (at(0) | at(1) << 8) / 1000, code = at(2);
      tiles.push({
        blur: blur > 0 ? blur : null, sd: code < 2 ? 0.002 : 0.002 * Math.pow(1.04, code - 2),
        state: at(3) & 7, standing: at(3) >> 3, zones: at(4),
        diffraction: part(at(5)), defocus: part(at(6)), lens: part(at(7)), motion: part(at(8)),
      });
    }
    // Without its tiles (the folder left behind) a frame still opens, with nothing measured.
    while (tiles.length < f.cols * f.rows) tiles.push({ blur: null, sd: 0, state: 6, standing: 5, zones: 0, diffraction: null, defocus: null, lens: null, motion: null });
    f.unpacked = tiles;
    return tiles;
  }
  // In a large shoot the tiles lie beside the page, one script a frame.
  globalThis.tussockTiles = (i, text) => { frames[i].tiles = text; };
  function withTiles(i, then) {
    if (frames[i].unpacked || frames[i].tiles !== undefined) return then();
    const script = document.createElement("script");
    script.nonce = nonce;
    script.src = "pictures/frame-" + String(i + 1).padStart(4, "0") + "-tiles.js";
    script.onload = script.onerror = () => { script.remove(); if (frames[i].tiles === undefined) frames[i].tiles = ""; then(); };
    document.head.append(script);
  }
  // Error function after Abramowitz and Stegun 7.1.26 (error below 1.5e-7), for the chance that a blur is too wide.
  function above(value, sd, limit) {
    const z = (value - limit) / Math.max(sd, 1e-3) / Math.SQRT2, x = Math.abs(z);
    const t = 1 / (1 + 0.3275911 * x);
    const erf = 1 - t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429)))) * Math.exp(-x * x);
    return 0.5 * (1 + Math.sign(z) * erf);
  }
  // The report's own rule, with its numbers, for a use chosen here.
  function word(f, value, sd, limit) {
    const rule = audit.rule;
    return above(value, sd, Math.max(rule.room * limit, f.finest)) > rule.beyond ? "beyond" : above(value, sd, limit) < rule.within ? "within" : "at limit";
  }
  const passes = (w) => w === "within" || w === "at limit";
  const AUDITED = { within: "within", at_limit: "at limit", beyond: "beyond", unknown: "unknown" };

  // Widest permitted optical blur of a frame in the use chosen on the page.
  function permitted(f) {
    const use = el("use").value;
    if (!use) return f.permit;
    let disc = 2;
    if (use === "diagonal") disc = Math.hypot(f.w, f.h) / 1500;
    if (use === "print") {
      const p = print(), long = Math.max(f.w, f.h), short = Math.min(f.w, f.h);
      // One minute of arc at the viewing distance, carried back to pixels.
      disc = p.d * Math.PI / 180 / 60 / Math.max(Math.max(p.w, p.h) / long, Math.min(p.w, p.h) / short);
    }
    return audit.disc_sigma * Math.max(disc, audit.rule.finest_disc);
  }
  const print = () => {
    const v = (id) => { const n = parseFloat(el(id).value); return n > 0 && isFinite(n) ? n : 1; };
    return { w: v("print-w"), h: v("print-h"), d: v("print-d") };
  };
  function useTyped() {
    const use = el("use").value, p = print();
    return use === "print" ? "print:" + p.w + "x" + p.h + "cm@" + p.d + "cm" : use || audit.sharp_for;
  }
  const audited = el("use-words").textContent;
  function useWords() {
    const p = print();
    return { "": audited, diagonal: "ordinary viewing (a blur disc of the sensor's diagonal / 1500)", "1:1": "inspection at 1:1 (a blur disc of two pixels)",
      print: "a print of " + p.w + " x " + p.h + " cm seen from " + p.d + " cm" }[el("use").value];
  }
  // The audit's own word for its own use; for another, by the zone's number, where it has one.
  function zoneWord(f, zone) {
    const z = f.zones[zone], limit = permitted(f);
    if (!el("use").value) return AUDITED[f.sharp[zone]];
    return z[0] === null || limit === null ? "unknown" : word(f, z[0], z[1] === null ? 0.05 : z[1], limit);
  }

  // ---- The list: choosing, order, judging -----------------------------------------------------------------

  const entries = frames.map((f, i) => el("frame-" + (i + 1)));
  const list = el("entries");
  const byText = (a, b) => (a < b ? -1 : a > b ? 1 : 0);
  function fill(select, values, say) {
    for (const v of values) select.append(make("option", say(v), { value: v }));
    if (values.length < 2) select.closest("label").hidden = true;
  }
  const distinct = (of) => [...new Set(frames.map(of).filter((v) => v !== null && v !== undefined))];
  fill(el("by-lens"), distinct((f) => f.lens).sort(byText), (v) => v);
  fill(el("by-stop"), distinct((f) => f.stop).sort((a, b) => a - b), (v) => "f/" + v);
  const ORDERS = {
    file: () => 0,
    time: (a, b) => byText(frames[a].date || "~", frames[b].date || "~"),
    near: (a, b) => (frames[b].zones[0][0] || 0) - (frames[a].zones[0][0] || 0),
    far: (a, b) => (frames[b].zones[1][0] || 0) - (frames[a].zones[1][0] || 0),
    cause: (a, b) => byText(frames[a].cause, frames[b].cause),
    stop: (a, b) => (frames[a].stop || 999) - (frames[b].stop || 999),
    lens: (a, b) => byText(frames[a].lens || "~", frames[b].lens || "~"),
  };
  let shown = frames.map((_, i) => i), order = "file";
  function choose() {
    const want = (id) => (el(id) ? el(id).value : "");
    const cause = want("by-cause"), lens = want("by-lens"), stop = want("by-stop"), group = want("by-group");
    const fits = (f) => (!cause || f.cause === cause || cause === "is:" + f.throughout) && (!lens || f.lens === lens) && (!stop || String(f.stop) === stop) && (!group || String(f.group) === group);
    shown = frames.map((_, i) => i).filter((i) => fits(frames[i]));
    shown.sort((a, b) => ORDERS[want("order")](a, b) || a - b);
    const show = new Set(shown);
    entries.forEach((entry, i) => { if (entry.hidden === show.has(i)) entry.hidden = !show.has(i); });
    if (order !== want("order")) {
      order = want("order");
      list.append(...frames.map((_, i) => i).sort((a, b) => ORDERS[order](a, b) || a - b).map((i) => entries[i]));
    }
    status();
  }
  function status() {
    let text = shown.length === frames.length ? "" : "Showing " + shown.length + " of " + frames.length + " frames. ";
    if (el("use").value) {
      const words = shown.map((i) => [zoneWord(frames[i], 0), zoneWord(frames[i], 1)]);
      const ok = words.filter((w) => passes(w[0]) && passes(w[1])).length;
      text += "Judged for " + useWords() + ": " + ok + " of " + shown.length + " sharp both near and far. The sentences speak of the use of the audit.";
    }
    el("status").textContent = text;
  }
  function judge() {
    el("print").hidden = el("use").value !== "print";
    el("use-words").textContent = useWords();
    frames.forEach((f, i) => {
      for (const cell of entries[i].querySelectorAll("[data-zone]")) {
        // The audit's own words come back with its own use.
        if (cell.dataset.audited === undefined) cell.dataset.audited = cell.textContent;
        cell.textContent = el("use").value ? zoneWord(f, +cell.dataset.zone) : cell.dataset.audited;
      }
      const stroke = entries[i].querySelector(".ribbon .blur"), now = permitted(f);
      if (f.permit > 0 && now > 0) stroke.setAttribute("transform", "translate(0 16) scale(1 " + clamp(f.permit / now, 0.05, 8).toFixed(3) + ") translate(0 -16)");
      entries[i].querySelector(".ribbon").setAttribute("aria-label", "Blur from near to far: " + [0, 2, 1].map((z) => ZONES[z] + " " + zoneWord(f, z)).join(", "));
    });
    status();
    if (desk.open) { paint(); say(); marks(); crops(); }
  }
  function units(value) {
    document.body.classList.toggle("imperial", value === "imperial");
    document.body.classList.toggle("metric", value !== "imperial");
    for (const radio of document.querySelectorAll("[name=units]")) radio.checked = radio.value === value;
  }

  // ---- One frame, large -------------------------------------------------------------------------------------

  const desk = el("desk"), stage = el("stage"), canvas = el("map"), lines = el("lines");
  let now = 0, cursor = null, place = null, near = null, far = null;
  const frame = () => frames[now];

  function open(i) {
    now = i; place = null;
    const f = frame(), entry = entries[i];
    near = f.near; far = f.far;
    el("desk-title").textContent = f.name;
    const words = el("desk-words");
    words.replaceChildren(...[...entry.querySelectorAll(".words .verdict, .words .advice, .words .facts")].map((n) => {
      const copy = n.cloneNode(true), side = n.parentElement.className;
      if (side.startsWith("if-")) copy.classList.add(side);
      return copy;
    }));
    const over = el("over");
    over.hidden = !f.over;
    if (f.over) over.src = f.over; else over.removeAttribute("src");
    stage.style.aspectRatio = f.w + " / " + f.h;
    stage.style.maxWidth = "calc(78vh * " + (f.w / f.h).toFixed(4) + ")";
    const tiles = tilesOf(f);
    cursor = tiles.findIndex((t) => t.zones & 1 && t.blur !== null);
    if (cursor < 0) cursor = Math.floor(tiles.length / 2);
    const beside = el("beside");
    beside.replaceChildren(make("option", "no other frame", { value: "" }), ...frames.map((o, k) => [o, k]).filter(([, k]) => k !== i)
      .sort((a, b) => (b[0].group === f.group && f.group !== null) - (a[0].group === f.group && f.group !== null))
      .map(([o, k]) => make("option", o.name + (o.stop ? ", f/" + o.stop : ""), { value: k })));
    const charts = el("desk-charts");
    charts.replaceChildren(...[...entry.querySelectorAll("figure.chart")].map((n) => n.cloneNode(true)));
    for (const picture of charts.querySelectorAll("img")) picture.loading = "eager";
    el("desk-facts").replaceChildren(...[...entry.querySelectorAll(".more > table, .more > .facts, .flags")].map((n) => n.cloneNode(true)));
    const at = shown.indexOf(i);
    el("previous").disabled = at <= 0;
    el("next").disabled = at < 0 || at >= shown.length - 1;
    if (!desk.open) { desk.showModal(); document.documentElement.classList.add("busy"); }
    desk.scrollTop = 0;
    el("desk-title").focus({ preventScroll: true });
    paint(); say(); marks(); crops();
  }
  const step = (by) => { const to = shown[shown.indexOf(now) + by]; if (to !== undefined) location.hash = "look-" + (to + 1); };
  function route() {
    const match = /^#look-(\d+)$/.exec(location.hash), i = match ? +match[1] - 1 : -1;
    if (frames[i]) withTiles(i, () => { if (location.hash === match[0]) open(i); }); else if (desk.open) desk.close();
  }
  desk.addEventListener("close", () => {
    document.documentElement.classList.remove("busy");
    if (location.hash.startsWith("#look-")) history.replaceState(null, "", location.pathname + location.search);
    const button = entries[now].querySelector(".open button");
    if (button) { button.scrollIntoView({ block: "nearest" }); button.focus({ preventScroll: true }); }
  });

  function shade(ratio) {
    const t = clamp((Math.log2(Math.max(ratio, 1e-3)) + 1) / 3, 0, 1) * (audit.cividis.length - 1);
    const low = Math.min(Math.floor(t), audit.cividis.length - 2), share = t - low;
    return audit.cividis[low].map((a, k) => Math.round(a + share * (audit.cividis[low + 1][k] - a)));
  }
  const box = (f, i) => {
    const c = i % f.cols, r = Math.floor(i / f.cols), at = (k, n, size) => Math.floor(k * size / n);
    const x = at(c, f.cols, f.w), y = at(r, f.rows, f.h);
    return { c, r, x, y, w: at(c + 1, f.cols, f.w) - x, h: at(r + 1, f.rows, f.h) - y };
  };
  // Hatching says "beyond" without colour: one set of lines past the permitted blur, crossed past twice of it.
  function hatch(g, x, y, w, h, crossed, ink) {
    g.save(); g.beginPath(); g.rect(x, y, w, h); g.clip(); g.beginPath();
    const gap = Math.max(5, w / 4);
    for (let k = -h; k < w; k += gap) { g.moveTo(x + k, y + h); g.lineTo(x + k + h, y); }
    if (crossed) for (let k = -h; k < w; k += gap) { g.moveTo(x + k, y); g.lineTo(x + k + h, y + h); }
    g.strokeStyle = ink; g.lineWidth = 1; g.stroke(); g.restore();
  }
  function paint() {
    const f = frame(), tiles = tilesOf(f), limit = permitted(f);
    const width = stage.clientWidth, height = stage.clientHeight, scale = window.devicePixelRatio || 1;
    canvas.width = Math.max(1, Math.round(width * scale)); canvas.height = Math.max(1, Math.round(height * scale));
    const g = canvas.getContext("2d");
    g.scale(scale, scale);
    const kx = width / f.w, ky = height / f.h, strength = +el("strength").value / 100, side = width / f.cols;
    const every = Math.max(1, Math.ceil(27 / side));
    g.textAlign = "center"; g.textBaseline = "middle";
    tiles.forEach((t, i) => {
      const b = box(f, i), x = b.x * kx, y = b.y * ky, w = b.w * kx, h = b.h * ky;
      if (strength > 0) {
        if (t.blur === null) {
          g.globalAlpha = strength; g.font = "12px sans-serif";
          g.fillStyle = "#fff"; g.fillText(GLYPHS[t.state], x + w / 2 + 0.7, y + h / 2 + 0.7);
          g.fillStyle = "#000"; g.fillText(GLYPHS[t.state], x + w / 2, y + h / 2);
        } else {
          const ratio = t.blur / (limit || 1), [r, gr, bl] = shade(ratio);
          // What is soft by nature is not held against the frame: a thin wash and no hatching.
          g.globalAlpha = t.standing === 4 ? strength * 0.3 : strength;
          g.fillStyle = "rgb(" + r + "," + gr + "," + bl + ")";
          g.fillRect(x, y, w + 0.5, h + 0.5);
          if (ratio > 1 && t.standing !== 4) hatch(g, x, y, w, h, ratio > 2, "rgba(0,0,0,.6)");
        }
      }
      g.globalAlpha = 1;
      if (el("numbers").checked && t.blur !== null && b.c % every === 0 && b.r % every === 0) {
        const text = t.blur.toFixed(t.blur < 10 ? 2 : 0);
        g.font = "11px sans-serif"; g.lineWidth = 3; g.strokeStyle = "#fff"; g.fillStyle = "#000";
        g.strokeText(text, x + w / 2, y + h / 2); g.fillText(text, x + w / 2, y + h / 2);
      }
    });
    over();
    legend(limit);
  }
  // Lines and marks over the picture: zones, best focus, focus point, the reader's own marks, the chosen tile.
  function over() {
    const f = frame(), tiles = tilesOf(f), width = stage.clientWidth, height = stage.clientHeight;
    const kx = width / f.w, ky = height / f.h;
    lines.setAttribute("viewBox", "0 0 " + width + " " + height);
    lines.replaceChildren();
    const line = (d, kind) => { lines.append(drawn("path", { d, class: "under" }), drawn("path", { d, class: kind })); };
    const label = (text, x, y) => {
      const node = drawn("text", { x: clamp(x, 4, width - 4), y: clamp(y, 13, height - 4), "text-anchor": x > width * 0.7 ? "end" : "start" });
      node.textContent = text; lines.append(node);
    };
    if (el("zones").checked) {
      for (let z = 0; z < 7; z++) {
        const inside = (i) => i >= 0 && i < tiles.length && tiles[i].zones & 1 << z;
        let d = "", first = null;
        tiles.forEach((_, i) => {
          if (!inside(i)) return;
          const b = box(f, i), x0 = b.x * kx, y0 = b.y * ky, x1 = (b.x + b.w) * kx, y1 = (b.y + b.h) * ky;
          first = first || [x0, y0];
          if (b.c === 0 || !inside(i - 1)) d += "M" + x0 + " " + y0 + "V" + y1;
          if (b.c === f.cols - 1 || !inside(i + 1)) d += "M" + x1 + " " + y0 + "V" + y1;
          if (!inside(i - f.cols)) d += "M" + x0 + " " + y0 + "H" + x1;
          if (!inside(i + f.cols)) d += "M" + x0 + " " + y1 + "H" + x1;
        });
        if (first) { line(d, "zone"); if (z < 2) label(ZONES[z], first[0] + 4, first[1] + 14); }
      }
      if (f.line) {
        const [a, b] = f.line;
        line("M" + a.x * width + " " + a.y * height + "L" + b.x * width + " " + b.y * height, "focus");
        label("best focus", Math.min(a.x, b.x) * width + 6, (a.x < b.x ? a.y : b.y) * height - 5);
      }
      if (f.point) {
        const x = f.point.x * width, y = f.point.y * height;
        line("M" + (x - 9) + " " + y + "H" + (x + 9) + "M" + x + " " + (y - 9) + "V" + (y + 9), "point");
        label("camera's focus point", x + 12, y + 4);
      }
    }
    for (const [mark, text] of [[near, "nearest"], [far, "farthest"]]) {
      if (!mark) continue;
      const x = mark.x * width, y = mark.y * height;
      line("M" + x + " " + y + "l-6 -11h12zM" + x + " " + y + "v3", "mark");
      label(text, x + 9, y - 3);
    }
    if (cursor !== null) {
      const b = box(f, cursor);
      line("M" + b.x * kx + " " + b.y * ky + "h" + b.w * kx + "v" + b.h * ky + "h" + -b.w * kx + "z", "cursor");
    }
  }
  function legend(limit) {
    const steps = [0.5, 0.7, 1, 1.4, 2, 2.8, 4], node = drawn("svg", { viewBox: "0 0 420 40" });
    steps.forEach((ratio, k) => {
      const [r, g, b] = shade(ratio), x = k * 60;
      node.append(drawn("rect", { x, y: 0, width: 60, height: 14, fill: "rgb(" + r + "," + g + "," + b + ")" }));
      let d = "";
      if (ratio > 1) for (let q = 0; q < 60; q += 8) d += "M" + (x + q) + " 14l14 -14";
      if (ratio > 2) for (let q = 0; q < 60; q += 8) d += "M" + (x + q) + " 0l14 14";
      if (d) node.append(drawn("path", { d, stroke: "#000", "stroke-width": 0.8, fill: "none" }));
      const text = drawn("text", { x: x + 30, y: 30, "text-anchor": "middle" });
      text.textContent = limit ? (ratio * limit).toFixed(2) : ratio + "\u00d7";
      node.append(text);
    });
    el("legend").replaceChildren(node, make("p", "Optical blur, px; hatched: beyond the permitted " + (limit ? limit.toFixed(2) + " px" : "blur") + ". No colour, no number: \u00b7 no detail, \u00d7 clipped, ~ noise, \u2264 and \u2265 only a bound; a pale wash is soft by nature." + (frame().fitted && !frame().line ? " The line of best focus lies outside the picture." : "")));
  }

  // Words for the chosen tile.
  function say() {
    const f = frame(), t = tilesOf(f)[cursor], b = box(f, cursor), out = el("tile-words"), limit = permitted(f);
    const um = (px) => (f.pitch ? ", " + (px * f.pitch).toFixed(1) + " \u00b5m" : "");
    const where = "Column " + (b.c + 1) + " of " + f.cols + ", row " + (b.r + 1) + " of " + f.rows;
    const inside = ZONES.filter((_, z) => t.zones & 1 << z);
    const nodes = [make("p", where + (inside.length ? " (" + inside.join(", ") + ")" : "") + ".", { class: "where" })];
    if (t.blur === null) {
      nodes.push(make("p", "Not measured: " + STATES[t.state] + ".", { class: "big" }));
    } else {
      const w = limit ? word(f, t.blur, t.sd, limit) : "";
      nodes.push(make("p", withSd(t.blur, t.sd) + " px" + um(t.blur), { class: "big" }));
      nodes.push(make("p", (limit ? (w === "at limit" ? "At the limit of" : w === "within" ? "Within" : "Beyond") + " the permitted blur, " + limit.toFixed(2) + " px. " : "") + "It is " + STANDINGS[t.standing] + "."));
    }
    const parts = [["pixel", f.pixel], ["diffraction", t.diffraction], ["lens", t.lens], ["defocus", t.defocus], ["motion", t.motion]];
    if (t.defocus !== null || t.lens !== null) {
      const most = Math.max(...parts.map((p) => p[1] || 0), 0.1), table = make("table", null, { class: "budget" });
      table.append(make("caption", "What the fitted model makes of it"));
      for (const [name, px] of parts) {
        const row = make("tr"), bar = drawn("svg", { viewBox: "0 0 100 6", preserveAspectRatio: "none", class: "stroke", "aria-hidden": "true" });
        bar.append(drawn("rect", { y: 2, width: 100 * (px || 0) / most, height: 2.4 }));
        const cell = make("td", null, { class: "bar" });
        cell.append(bar);
        row.append(make("th", name, { scope: "row" }), make("td", px === null ? "unknown" : px === 0 ? "none" : px.toFixed(2) + " px" + um(px), { class: "figure" }), cell);
        table.append(row);
      }
      nodes.push(table);
    }
    out.replaceChildren(...nodes);
  }

  // ---- Near and far, marked by the reader --------------------------------------------------------------------

  const tileAt = (f, p) => {
    // The inverse of `box`: the tile whose edges enclose the pixel.
    const find = (v, n, size) => { let k = clamp(Math.floor(v * n / size), 0, n - 1); while (k > 0 && Math.floor(k * size / n) > v) k--; while (k < n - 1 && Math.floor((k + 1) * size / n) <= v) k++; return k; };
    return find(p.y * f.h, f.rows, f.h) * f.cols + find(p.x * f.w, f.cols, f.w);
  };
  // A mark's blur: the tile under it, or the sharpest measured neighbour where that one has no number.
  function blurAt(f, p) {
    const tiles = tilesOf(f), i = tileAt(f, p), c = i % f.cols, r = Math.floor(i / f.cols);
    if (tiles[i].blur !== null) return { t: tiles[i], aside: false };
    let best = null;
    for (let y = Math.max(0, r - 1); y <= Math.min(f.rows - 1, r + 1); y++) for (let x = Math.max(0, c - 1); x <= Math.min(f.cols - 1, c + 1); x++) {
      const t = tiles[y * f.cols + x];
      if (t.blur !== null && t.standing !== 4 && (!best || t.blur < best.blur)) best = t;
    }
    return best ? { t: best, aside: true, why: STATES[tiles[i].state] } : { t: null, why: STATES[tiles[i].state] };
  }
  function marks() {
    const f = frame(), limit = permitted(f), out = [];
    const judged = [[near, "Nearest", 0], [far, "Farthest", 1]].map(([mark, name, zone]) => {
      let o = null, sd = null, note = "";
      if (mark) {
        const at = blurAt(f, mark);
        if (at.t) { o = at.t.blur; sd = at.t.sd; if (at.aside) note = " (from a neighbour: the tile itself has " + at.why + ")"; }
        else note = at.why;
      } else if (f.zones[zone][0] !== null) { o = f.zones[zone][0]; sd = f.zones[zone][1] || 0.05; note = " (the audit's own zone)"; }
      const said = o === null ? name + ": nothing there to judge" + (note ? ", " + note : "") + "." : name + ": " + withSd(o, sd) + " px of optical blur" + (limit ? ", " + word(f, o, sd, limit) + (word(f, o, sd, limit) === "at limit" ? "" : " what is permitted") : "") + note + ".";
      out.push(make("p", said));
      return { o, sd };
    });
    const [n, r] = judged;
    if (n.o !== null && r.o !== null && limit) {
      const p = [n, r].map((at) => word(f, at.o, at.sd, limit)), by = Math.abs(n.o - r.o), sd = Math.hypot(n.sd, r.sd);
      const both = p[0] === "within" && p[1] === "within" ? "Both are within the permitted " + limit.toFixed(2) + " px." : p.includes("beyond") ? "Not both are within the permitted " + limit.toFixed(2) + " px." : "At the limit of the permitted " + limit.toFixed(2) + " px.";
      const differ = by < 2 * sd ? " They are alike within the error." : " They differ by " + withSd(by, sd) + " px; the " + (n.o > r.o ? "nearest" : "farthest") + " is softer.";
      out.unshift(make("p", both + differ, { class: "big" }));
    }
    el("marks-words").replaceChildren(...out);
    el("command").value = command(f);
  }
  // Names with characters that can't be seen are written out for the shell, so that the command is what it looks.
  const unseen = /[\u0000-\u001f\u007f-\u009f\u00ad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]/;
  const shell = (text) => unseen.test(text) ? "$'" + [...text].map((c) => unseen.test(c) ? "\\u" + c.codePointAt(0).toString(16).padStart(4, "0") : c.replace(/['\\]/, "\\$&")).join("") + "'" : /^[\w./:@%+,=-]+$/.test(text) && !text.startsWith("-") ? text : "'" + text.replace(/'/g, "'\\''") + "'";
  function command(f) {
    const at = (p) => p.x.toFixed(3) + "," + p.y.toFixed(3), use = useTyped();
    return "tussock audit " + (f.file.startsWith("-") ? "-- " : "") + shell(f.file) + (use === "diagonal" ? "" : " --sharp-for " + use) + (near ? " --near-at " + at(near) : "") + (far ? " --far-at " + at(far) : "");
  }

  // ---- Looking closely ----------------------------------------------------------------------------------------

  // One crop of a frame about a place: from the whole picture where there is one, else from the crop at hand.
  function crop(f, spot, zoom) {
    const side = 256, view = make("div", null, { class: "crop" });
    const px = zoom / (window.devicePixelRatio > 1 ? window.devicePixelRatio : 1);
    const picture = make("img", null, { alt: "", decoding: "async", loading: "lazy" });
    // The middle of the place lies in the middle of the window.
    const put = (x, y, w, h) => {
      picture.style.width = w * px + "px"; picture.style.height = h * px + "px";
      picture.style.left = "calc(50% - " + x * px + "px)"; picture.style.top = "calc(50% - " + y * px + "px)";
      if (zoom > 1) picture.classList.add("coarse");
    };
    const cx = spot.x + spot.w / 2, cy = spot.y + spot.h / 2;
    if (spot.href) { picture.src = spot.href; put(spot.w / 2, spot.h / 2, spot.w, spot.h); }
    else if (f.full) { picture.src = f.full; put(cx, cy, f.w, f.h); }
    else return make("p", "No full-size picture beside the page; audit again with --renditions to look here.", { class: "crop none" });
    view.style.height = side + "px";
    view.append(picture);
    return view;
  }
  const spotOf = (c) => ({ name: c[0], x: c[1], y: c[2], w: c[3], h: c[4], href: c[5], tile: c[6] });
  function numbers(f, spot) {
    const i = spot.tile !== null && spot.tile !== undefined ? spot.tile : tileAt(f, { x: (spot.x + spot.w / 2) / f.w, y: (spot.y + spot.h / 2) / f.h });
    const t = tilesOf(f)[i], limit = permitted(f);
    if (!t || t.blur === null) return "not measured: " + STATES[t ? t.state : 1];
    const w = t.standing === 4 ? ", soft by nature" : limit ? ", " + word(f, t.blur, t.sd, limit) : "";
    return withSd(t.blur, t.sd) + " px" + w;
  }
  // Where the scene at a place of frame `a` lies in frame `b`, px: by the registration of their group, else the same
  // share of the picture.
  function across(a, b, x, y) {
    if (a.group === null || a.group !== b.group || !a.laid || !b.laid) return { x: x / a.w * b.w, y: y / a.h * b.h };
    const turn = ([, , scale, degrees], dx, dy) => {
      const c = scale * Math.cos(degrees * Math.PI / 180), s = scale * Math.sin(degrees * Math.PI / 180);
      return [c * dx - s * dy, s * dx + c * dy];
    };
    const [dx, dy] = turn([0, 0, 1 / a.laid[2], -a.laid[3]], x - a.w / 2 - a.laid[0], y - a.h / 2 - a.laid[1]);
    const [ex, ey] = turn(b.laid, dx, dy);
    return { x: b.w / 2 + b.laid[0] + ex, y: b.h / 2 + b.laid[1] + ey };
  }
  function crops() {
    const f = frame(), zoom = +el("scale").value, other = el("beside").value === "" ? null : frames[+el("beside").value];
    const spots = f.crops.map(spotOf);
    if (place) spots.unshift({ name: "The place you chose", x: clamp(place.x * f.w - 128, 0, Math.max(0, f.w - 256)), y: clamp(place.y * f.h - 128, 0, Math.max(0, f.h - 256)), w: Math.min(256, f.w), h: Math.min(256, f.h), href: null, tile: tileAt(f, place) });
    const out = [];
    for (const spot of spots) {
      const figure = make("figure", null, { class: other ? "pair" : "" }), caption = make("figcaption");
      figure.append(crop(f, spot, zoom));
      caption.append(make("strong", spot.name), make("span", " " + numbers(f, spot)));
      if (other) {
        // The same place of the scene; where only crops exist, the other frame's crop of that name.
        const there = across(f, other, spot.x + spot.w / 2, spot.y + spot.h / 2);
        const same = other.full ? { x: there.x - spot.w / 2, y: there.y - spot.h / 2, w: spot.w, h: spot.h, href: null, tile: null } : other.crops.map(spotOf).find((s) => s.name === spot.name);
        const apart = same && !other.full ? Math.hypot(same.x + same.w / 2 - there.x, same.y + same.h / 2 - there.y) / other.w : 0;
        figure.append(same ? crop(other, same, zoom) : make("p", "No picture of this place.", { class: "crop none" }));
        caption.append(make("span", " | " + other.name + ": " + (same ? numbers(other, same) : "") + (apart > 0.02 ? " (its own place of that name, " + Math.round(100 * apart) + " % of the frame away)" : "")));
      }
      figure.append(caption);
      out.push(figure);
    }
    el("crops").classList.toggle("paired", !!other);
    el("crops").replaceChildren(...(out.length ? out : [make("p", "This report was written without pictures.")]));
    el("crop-note").textContent = f.full ? "Click the picture, or press Enter on a tile, to look at any place." : "";
  }

  // ---- Events ---------------------------------------------------------------------------------------------------

  function pointed(event) {
    const r = stage.getBoundingClientRect();
    return { x: clamp((event.clientX - r.left) / r.width, 0, 0.99999), y: clamp((event.clientY - r.top) / r.height, 0, 0.99999) };
  }
  function act(mode, p) {
    if (mode === "near") near = p; else if (mode === "far") far = p; else place = p;
    over(); marks();
    if (mode === "look") crops();
  }
  stage.addEventListener("pointermove", (e) => {
    const i = tileAt(frame(), pointed(e));
    if (i !== cursor) { cursor = i; over(); say(); }
  });
  stage.addEventListener("click", (e) => {
    const p = pointed(e);
    cursor = tileAt(frame(), p);
    say();
    act(document.querySelector("[name=mode]:checked").value, p);
  });
  stage.addEventListener("keydown", (e) => {
    const f = frame(), b = box(f, cursor);
    const move = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    const centre = { x: (b.x + b.w / 2) / f.w, y: (b.y + b.h / 2) / f.h };
    const mode = { Enter: "look", " ": "look", n: "near", N: "near", f: "far", F: "far" }[e.key];
    if (e.ctrlKey || e.altKey || e.metaKey) return;
    if (move) { cursor = clamp(b.r + move[1], 0, f.rows - 1) * f.cols + clamp(b.c + move[0], 0, f.cols - 1); over(); say(); }
    else if (mode) act(mode, centre);
    else return;
    e.preventDefault();
  });
  for (const id of ["strength", "numbers", "zones"]) el(id).addEventListener("input", () => paint());
  el("scale").addEventListener("change", () => crops());
  el("beside").addEventListener("change", () => { if (el("beside").value === "") crops(); else withTiles(+el("beside").value, crops); });
  el("previous").addEventListener("click", () => step(-1));
  el("next").addEventListener("click", () => step(1));
  el("close").addEventListener("click", () => desk.close());
  el("copy").addEventListener("click", () => {
    el("command").select();
    // The clipboard may be closed to pages opened from disk; the text is selected for copying by hand then.
    if (navigator.clipboard) navigator.clipboard.writeText(el("command").value).then(() => { el("copy").textContent = "Copied"; }, () => {});
  });
  for (const id of ["by-cause", "by-lens", "by-stop", "by-group", "order"]) if (el(id)) el(id).addEventListener("change", choose);
  for (const id of ["use", "print-w", "print-h", "print-d"]) el(id).addEventListener("input", judge);
  for (const radio of document.querySelectorAll("[name=units]")) radio.addEventListener("change", () => units(radio.value));
  el("tools").addEventListener("submit", (e) => e.preventDefault());
  window.addEventListener("hashchange", route);
  new ResizeObserver(() => { if (desk.open) paint(); }).observe(stage);

  entries.forEach((entry, i) => {
    const button = make("button", "Look closely", { type: "button" });
    button.append(make("span", " at " + frames[i].name, { class: "unseen" }));
    button.addEventListener("click", () => { location.hash = "look-" + (i + 1); });
    entry.querySelector(".open").append(button);
    const plate = entry.querySelector(".plate");
    plate.classList.add("live");
    plate.addEventListener("click", () => { location.hash = "look-" + (i + 1); });
  });
  // On a fine screen one picture pixel a screen pixel is too small to judge at arm's length.
  if (window.devicePixelRatio >= 1.75) el("scale").value = "2";
  units(document.body.classList.contains("imperial") ? "imperial" : "metric");
  el("tools").hidden = frames.length === 0;
  if (frames.length) status();
  route();
  document.documentElement.dataset.ready = "yes";
})();
