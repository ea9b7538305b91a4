"use strict";
(async () => {
  const byId = (id) => document.getElementById(id);
  const SVG = "http://www.w3.org/2000/svg";
  const drawn = (parent, name, attributes = {}, text = "") => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text) element.textContent = text;
    parent.append(element);
    return element;
  };
  const made = (parent, name, attributes = {}, text = "") => {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text) element.textContent = text;
    parent.append(element);
    return element;
  };
  const say = (id, text, pending = false) => {
    const place = byId(id);
    if (place.textContent !== text) place.textContent = text;
    place.classList.toggle("pending", pending);
  };
  const complain = (text) => {
    byId("fault").hidden = !text;
    byId("fault").textContent = text;
  };

  // --- what is asked ---

  const ask = async (path, body) => {
    const request = body === undefined ? {} :
      { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
    let response;
    try {
      response = await fetch(path, request);
    } catch {
      return { fault: "The program does not answer. If it was ended, start it again." };
    }
    try {
      return await response.json();
    } catch {
      return { fault: `The program refused (${response.status}). Reload the page.` };
    }
  };

  const wanted = new URLSearchParams(location.search).get("car");
  const begin = await ask(wanted === null ? "begin" : `begin?car=${encodeURIComponent(wanted)}`);
  if (begin.fault) { complain(begin.fault); return; }
  new EventSource("open");

  // --- the state, and its history ---

  const state = {
    car: begin.chosen_car, points: begin.points, against: begin.against, values: {}, taken: {}, tests: begin.shown_tests,
  };
  const copy = () => JSON.stringify(state);
  const history = [copy()];
  let place = 0, chosen = 0, version = 0, changed = 0;
  const commit = () => {
    const now = copy();
    if (now === history[place]) return;
    history.splice(place + 1);
    history.push(now);
    place = history.length - 1;
    byId("undo").disabled = false;
    byId("redo").disabled = true;
  };
  const travel = (step) => {
    if (place + step < 0 || place + step >= history.length) return;
    place += step;
    Object.assign(state, JSON.parse(history[place]));
    chosen = Math.min(chosen, state.points.length - 1);
    byId("undo").disabled = place === 0;
    byId("redo").disabled = place === history.length - 1;
    showSettings();
    makeKey();
    background = null; // its lines depend on the curve that is set against
    change();
  };

  // At most one request of a kind is under way; the newest state goes next, and the last one is always sent.
  const lane = (work) => {
    let busy = false, wanted = false;
    return async () => {
      wanted = true;
      if (busy) return;
      busy = true;
      while (wanted) { wanted = false; await work(); }
      busy = false;
    };
  };
  let settled = 0;
  const wantExact = lane(async () => {
    const asked = version, answer = await ask("exact", state);
    if (asked !== version) return;
    if (answer.fault) { complain(answer.fault); say("state", "No answer for this curve."); return; }
    show(answer);
    wantWhy();
    if (several) wantFleet();
  });
  const wantWhy = lane(async () => {
    const asked = version;
    say("why-state", "Working out the spans of engine speed and the verdict; what stands here is older.", true);
    const answer = await ask("why", state);
    if (asked !== version) return;
    if (answer.fault) { say("why-state", answer.fault); return; }
    showWhy(answer);
  });
  const several = begin.cars.length > 1;
  const wantFleet = lane(async () => {
    const asked = version;
    say("fleet-state", "Launching on every car; what stands here is older.", true);
    const answer = await ask("cars", state);
    if (asked !== version) return;
    if (answer.fault) { say("fleet-state", answer.fault); return; }
    say("fleet-text", answer.text);
    say("fleet-state", "Each car as its file describes it.");
    fill(byId("fleet-table"), [answer.table]);
  });
  const wantQuick = lane(async () => {
    const asked = version, since = changed, answer = await ask("quick", state);
    if (answer.fault) {
      if (asked === version) { complain(answer.fault); say("state", "No answer for this curve."); }
      return;
    }
    const received = performance.now();
    show(answer);
    requestAnimationFrame(() => {
      performance.measure("drawing", { start: received, end: performance.now() });
      performance.measure("answer", { start: since, end: performance.now() });
    });
    if (asked !== version) return;
    clearTimeout(settled);
    settled = setTimeout(wantExact, 150);
  });
  const change = (since = performance.now()) => {
    version += 1;
    changed = since;
    clearTimeout(settled);
    say("state", `Not yet exact, against ${shownName(state.against)}.`, true);
    say("why-state", why ? "For the curve as it was before." : "", true);
    if (several && byId("fleet-text").textContent) say("fleet-state", "For the curve as it was before.", true);
    spans = [];
    drawPoints();
    drawSpans();
    wantQuick();
  };

  // --- the drawing ---

  const drawing = byId("drawing");
  const area = { left: 46, right: 14, top: 60, bottom: 40, width: 0, height: 0, x0: 0, x1: 1, y1: 1 };
  const x = (speed) => area.left + (area.width - area.left - area.right) * (speed - area.x0) / (area.x1 - area.x0);
  const y = (torque) => area.height - area.bottom - (area.height - area.top - area.bottom) * torque / area.y1;
  const speedAt = (px) => area.x0 + (px - area.left) / (area.width - area.left - area.right) * (area.x1 - area.x0);
  const torqueAt = (py) => (area.height - area.bottom - py) / (area.height - area.top - area.bottom) * area.y1;
  const path = (line) => line.map(([u, v], k) => `${k ? "L" : "M"}${x(u).toFixed(1)} ${y(Math.min(v, 3 * area.y1)).toFixed(1)}`).join("");
  const steps = (most, count) => {
    const rough = most / count, power = 10 ** Math.floor(Math.log10(rough));
    return [1, 2, 5, 10].map((each) => each * power).find((each) => each >= rough);
  };

  let answer = null, why = null, spans = [], background = null, handles = [];
  // Handles outlive a new frame, so that a point under the finger or in focus stays there.
  const frame = drawn(drawing, "g"), layers = { handles: drawn(drawing, "g") };

  const rescale = () => {
    const speeds = state.points.map((each) => each[0]), every = background ? Object.values(background.curves) : [];
    const torques = [...state.points, ...every.flat()].map((each) => each[1]);
    area.x0 = Math.min(...speeds, ...every.map((line) => line[0][0]));
    area.x1 = Math.max(...speeds, begin.rev_limit);
    const step = steps(Math.max(...torques, 1), 5);
    area.y1 = Math.ceil(1.18 * Math.max(...torques, 1) / step) * step;
  };
  const drawFrame = () => {
    area.width = drawing.clientWidth;
    area.height = drawing.clientHeight;
    drawing.setAttribute("viewBox", `0 0 ${area.width} ${area.height}`);
    rescale();
    frame.replaceChildren();
    const defs = drawn(frame, "defs");
    const clip = drawn(defs, "clipPath", { id: "inside" });
    drawn(clip, "rect", {
      x: area.left, y: area.top - 8, width: area.width - area.left - area.right, height: area.height - area.top - area.bottom + 8,
    });
    const other = begin.curves.find((each) => each.name === state.against);
    for (const [id, colour, turn] of [["helps-shaped", begin.style.colour, 45], ["helps-other", other.style.colour, -45]]) {
      const pattern = drawn(defs, "pattern", { id, width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: `rotate(${turn})` });
      drawn(pattern, "line", { x1: 0, y1: 0, x2: 0, y2: 6, stroke: colour, "stroke-width": 1.8 });
    }
    const grid = drawn(frame, "g");
    const dy = steps(area.y1, 5), dx = steps(area.x1 - area.x0, area.width < 500 ? 4 : 7);
    for (let torque = 0; torque <= area.y1 + 1e-9; torque += dy) {
      drawn(grid, "line", { x1: area.left, x2: area.width - area.right, y1: y(torque), y2: y(torque), stroke: "#d9dde1" });
      drawn(grid, "text", { x: area.left - 6, y: y(torque) + 4, "text-anchor": "end" }, String(Math.round(torque)));
    }
    for (let speed = Math.ceil(area.x0 / dx) * dx; speed <= area.x1 + 1e-9; speed += dx) {
      drawn(grid, "line", { x1: x(speed), x2: x(speed), y1: area.top - 8, y2: area.height - area.bottom, stroke: "#d9dde1" });
      drawn(grid, "text", { x: x(speed), y: area.height - area.bottom + 16, "text-anchor": "middle" }, String(Math.round(speed)));
    }
    drawn(grid, "text", { x: area.left, y: 12 }, `engine torque [${begin.units.torque}]`);
    drawn(grid, "text", { x: area.width - area.right, y: area.height - 6, "text-anchor": "end" }, `engine speed [${begin.units.speed}]`);
    for (const name of ["spans", "behind", "shaped", "labels"]) {
      layers[name] = drawn(frame, "g", name === "labels" ? {} : { "clip-path": "url(#inside)" });
    }
    layers.line = drawn(layers.shaped, "path", {
      fill: "none", stroke: begin.style.colour, "stroke-width": 2.6, "stroke-dasharray": "none",
    });
    layers.limited = drawn(layers.shaped, "g");
    drawBehind();
    drawLine();
    drawPoints();
    drawSpans();
  };
  const drawBehind = () => {
    layers.behind.replaceChildren();
    if (!background) return;
    const last = area.width - area.right;
    for (const gear of background.ceilings) {
      drawn(layers.behind, "path", { d: path(gear.line), fill: "none", stroke: gear.style.colour, "stroke-width": 1.3, "stroke-dasharray": gear.style.dash.join(" ") });
      const inside = gear.line.filter((each) => each[1] < area.y1);
      if (inside.length) {
        const end = inside.at(-1);
        drawn(layers.behind, "text", { x: Math.min(x(end[0]), last - 4) , y: y(end[1]) - 5, "text-anchor": "end", class: "quiet halo" }, `gear ${gear.gear}`);
      }
    }
    for (const cap of begin.caps) {
      drawn(layers.behind, "path", { d: path(cap.line), fill: "none", stroke: "#5c5c5c", "stroke-width": 3, "stroke-opacity": 0.45 });
      drawn(layers.behind, "text", { x: x(cap.line[0][0]) + 6, y: Math.max(y(cap.line[0][1]), area.top) + 14, class: "quiet halo" }, cap.name);
    }
    for (const curve of begin.curves) {
      const line = background.curves[curve.name];
      drawn(layers.behind, "path", {
        d: path(line), fill: "none", stroke: curve.style.colour, "stroke-width": curve.name === state.against ? 2.2 : 1.4,
        "stroke-dasharray": curve.style.dash.join(" ") || "none",
      });
    }
    for (const limit of background.limited) {
      const curve = begin.curves.find((each) => each.name === limit.name);
      if (limit.name === state.against) drawLimited(layers.behind, limit, curve.style.colour);
    }
  };
  // A curve in a gear that limits it, with dashes in groups of the gear's number.
  const drawLimited = (layer, limit, colour) => {
    const dash = Array.from({ length: limit.gear }, () => "4 2").join(" ").replace(/ 2$/, " 8");
    drawn(layer, "path", { d: path(limit.line), fill: "none", stroke: colour, "stroke-width": 1.6, "stroke-dasharray": dash, class: "limited" });
    const [speed, torque] = limit.line[Math.floor(0.62 * (limit.line.length - 1))];
    drawn(layer, "text", { x: x(speed), y: y(torque) - 5, "text-anchor": "middle", class: "quiet halo" }, `in gear ${limit.gear}`);
  };
  const drawLine = () => {
    if (!answer) return;
    layers.line.setAttribute("d", path(answer.line));
    layers.limited.replaceChildren();
    for (const limit of answer.limited) drawLimited(layers.limited, limit, begin.style.colour);
  };
  const between = (line, speed) => {
    const k = Math.max(1, line.findIndex((each) => each[0] >= speed));
    const [u0, v0] = line[k - 1], [u1, v1] = line[k];
    return v0 + (v1 - v0) * Math.min(Math.max((speed - u0) / (u1 - u0 || 1), 0), 1);
  };
  const drawSpans = () => {
    layers.spans.replaceChildren();
    layers.labels.replaceChildren();
    if (!answer || !background) return;
    const other = background.curves[state.against], colours = { shaped: begin.style.colour };
    colours.other = begin.curves.find((each) => each.name === state.against).style.colour;
    spans.forEach((span, k) => {
      const count = 40, speeds = Array.from({ length: count + 1 }, (_, n) => span.from + (span.to - span.from) * n / count);
      const up = speeds.map((speed) => [speed, between(answer.line, speed)]);
      const down = speeds.map((speed) => [speed, between(other, speed)]).reverse();
      if (span.helps) drawn(layers.spans, "path", { d: `${path([...up, ...down])}Z`, fill: `url(#helps-${span.helps})` });
      if (k) drawn(layers.spans, "line", { x1: x(span.from), x2: x(span.from), y1: area.top, y2: area.height - area.bottom, stroke: "#7d8792", "stroke-width": 0.8 });
      const label = drawn(layers.labels, "text", {
        x: (x(span.from) + x(span.to)) / 2, y: 30 + 16 * (k % 2), "text-anchor": "middle", "font-weight": span.helps ? 700 : 400,
      }, span.helps ? `${span.words} for ${span.helps === "shaped" ? begin.name : shownName(state.against)}` : span.words);
      label.style.fill = span.helps ? colours[span.helps] : "#4c5763";
      const half = label.getComputedTextLength() / 2, middle = Number(label.getAttribute("x"));
      label.setAttribute("x", Math.min(Math.max(middle, half + 2), area.width - half - 2));
    });
  };
  const shownName = (name) => begin.curves.find((each) => each.name === name).shown;

  // --- points ---

  const inner = (k) => k > 0 && k < state.points.length - 1;
  const tidy = (k, speed, torque, most) => {
    const points = state.points, least = 10;
    const low = inner(k) ? points[k - 1][0] + least : points[k][0], high = inner(k) ? points[k + 1][0] - least : points[k][0];
    return [Math.round(Math.min(Math.max(speed, low), high)), Math.round(10 * Math.min(Math.max(torque, 0), most)) / 10];
  };
  const move = (k, speed, torque, since, most = 1.6 * area.y1) => {
    const to = tidy(k, speed, torque, most);
    if (to[0] === state.points[k][0] && to[1] === state.points[k][1]) return;
    state.points = state.points.map((each, n) => (n === k ? to : each));
    change(since);
  };
  const addAt = (speed, torque) => {
    const k = state.points.findIndex((each) => each[0] > speed);
    if (k < 1 || state.points.length >= 256) return;
    const room = Math.min(speed - state.points[k - 1][0], state.points[k][0] - speed);
    if (room < 10) return;
    state.points = [...state.points.slice(0, k), [Math.round(speed), Math.round(10 * Math.max(torque, 0)) / 10], ...state.points.slice(k)];
    chosen = k;
    change();
    commit();
    handles[k].focus();
  };
  const add = () => {
    const points = state.points, k = Math.min(chosen, points.length - 2);
    const speed = (points[k][0] + points[k + 1][0]) / 2;
    addAt(speed, answer ? between(answer.line, speed) : (points[k][1] + points[k + 1][1]) / 2);
  };
  const remove = (k, focus) => {
    if (!inner(k)) return;
    state.points = state.points.filter((_, n) => n !== k);
    chosen = Math.min(k, state.points.length - 2);
    change();
    commit();
    if (focus) handles[chosen].focus();
  };
  const choose = (k) => {
    chosen = k;
    handles.forEach((each, n) => each.classList.toggle("chosen", n === k));
    byId("remove").disabled = !inner(k);
  };
  const press = (event, k) => {
    const [speed, torque] = state.points[k], large = event.shiftKey ? 5 : 1;
    const moves = {
      ArrowUp: [0, 2 * large], ArrowDown: [0, -2 * large], PageUp: [0, 20], PageDown: [0, -20],
      ArrowLeft: [-20 * large, 0], ArrowRight: [20 * large, 0],
    };
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Delete" || event.key === "Backspace") { event.preventDefault(); remove(k, true); return; }
    if (event.key === "Insert" || event.key === "+") { event.preventDefault(); add(); return; }
    const by = moves[event.key];
    if (!by) return;
    event.preventDefault();
    move(k, speed + by[0], torque + by[1], event.timeStamp);
    commit();
    if (state.points[k][1] > 0.95 * area.y1) drawFrame();
  };
  const inDrawing = (event) => {
    const box = drawing.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  const handle = (k) => {
    const group = drawn(layers.handles, "g", { class: "handle", role: "slider", tabindex: "0", "aria-orientation": "vertical", "aria-valuemin": "0" });
    for (const [kind, r] of [["target", 14], ["ring", 10], ["dot", 5.5]]) drawn(group, "circle", { class: kind, r });
    group.querySelector(".dot").setAttribute("stroke", begin.style.colour);
    // Where points lie close together, the nearest one is taken, whichever lies on top.
    let held = null;
    group.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      const [px, py] = inDrawing(event);
      const far = state.points.map(([speed, torque]) => Math.hypot(x(speed) - px, y(torque) - py));
      const near = far.indexOf(Math.min(...far)), [speed, torque] = state.points[near];
      held = { k: near, dx: px - x(speed), dy: py - y(torque) };
      group.setPointerCapture(event.pointerId);
      choose(near);
      handles[near].focus({ preventScroll: true });
      event.preventDefault();
    });
    group.addEventListener("pointermove", (event) => {
      if (!held) return;
      const [px, py] = inDrawing(event);
      move(held.k, speedAt(px - held.dx), torqueAt(py - held.dy), event.timeStamp);
    });
    const letGo = () => {
      if (!held) return;
      held = null;
      commit();
      drawFrame();
    };
    group.addEventListener("touchstart", (event) => event.preventDefault(), { passive: false });
    group.addEventListener("pointerup", letGo);
    group.addEventListener("pointercancel", letGo);
    group.addEventListener("focus", () => choose(k));
    group.addEventListener("keydown", (event) => press(event, k));
    group.addEventListener("dblclick", (event) => event.stopPropagation());
    return group;
  };
  const drawPoints = () => {
    while (handles.length > state.points.length) handles.pop().remove();
    while (handles.length < state.points.length) handles.push(handle(handles.length));
    state.points.forEach(([speed, torque], k) => {
      const group = handles[k];
      group.setAttribute("transform", `translate(${x(speed).toFixed(1)} ${y(torque).toFixed(1)})`);
      group.setAttribute("aria-label", `Point ${k + 1} of ${state.points.length}`);
      group.setAttribute("aria-valuenow", torque);
      group.setAttribute("aria-valuemax", Math.max(Math.ceil(1.6 * area.y1), torque));
      group.setAttribute("aria-valuetext", `${torque} ${begin.units.torque} at ${speed} ${begin.units.speed}`);
    });
    choose(Math.min(chosen, state.points.length - 1));
    fillTable();
  };
  const fillTable = () => {
    const body = byId("points");
    while (body.rows.length > state.points.length) body.lastChild.remove();
    while (body.rows.length < state.points.length) {
      const k = body.rows.length, row = made(body, "tr");
      for (const [n, what] of [[0, "engine speed"], [1, "torque"]]) {
        const field = made(made(row, "td"), "input", { type: "number", step: n ? "0.1" : "1", min: "0", "aria-label": `Point ${k + 1}, ${what}` });
        field.addEventListener("change", () => {
          const value = Number(field.value), point = [...state.points[k]];
          if (field.value !== "" && Number.isFinite(value)) point[n] = value;
          move(k, ...point, undefined, Infinity);
          commit();
          drawFrame();
        });
      }
      made(made(row, "td"), "button", { type: "button", "aria-label": `Remove point ${k + 1}` }, "×")
        .addEventListener("click", () => remove(k, false));
    }
    state.points.forEach((point, k) => {
      const fields = body.rows[k].querySelectorAll("input");
      fields[0].readOnly = !inner(k);
      fields.forEach((field, n) => { if (field.value !== String(point[n])) field.value = point[n]; });
      body.rows[k].querySelector("button").disabled = !inner(k);
    });
  };

  // --- answers ---

  const fill = (holder, tables) => {
    const shape = JSON.stringify(tables.map((table) => [table.title, table.heads, Boolean(table.note), table.rows.map((row) => [row.label, row.unit])]));
    if (holder.dataset.shape !== shape) {
      holder.replaceChildren();
      holder.dataset.shape = shape;
      for (const table of tables) {
        const grid = made(holder, "table");
        made(grid, "caption", {}, table.title);
        const head = made(made(grid, "thead"), "tr");
        made(head, "td");
        for (const each of table.heads) made(head, "th", { scope: "col" }, each);
        const body = made(grid, "tbody");
        for (const row of table.rows) {
          const line = made(body, "tr", { class: "cells" });
          const label = made(line, "th", { scope: "row" }, row.label);
          if (row.unit) made(label, "span", { class: "unit" }, ` [${row.unit}]`);
          for (const _ of row.cells) made(line, "td");
        }
        if (table.note) made(made(made(grid, "tfoot"), "tr"), "td", { class: "note", colspan: table.heads.length + 1 });
      }
    }
    tables.forEach((table, k) => {
      const rows = holder.children[k].querySelector("tbody").rows;
      if (table.note) holder.children[k].querySelector(".note").textContent = table.note;
      table.rows.forEach((row, n) => row.cells.forEach((text, m) => {
        const cell = rows[n].cells[m + 1], over = Boolean(table.over && table.over[n][m]);
        const shown = over ? `${text} too much` : text;
        if (cell.textContent !== shown) cell.textContent = shown;
        cell.classList.toggle("over", over);
      }));
    });
  };
  const show = (found) => {
    answer = found;
    complain("");
    const fresh = !background || background.key !== found.background.key;
    background = found.background;
    say("difference", found.difference === null ? found.text : `${begin.name}: ${found.text}`, !found.exact);
    byId("difference").parentElement.classList.toggle("pending", !found.exact);
    byId("caution").textContent = found.caution;
    if (found.exact) say("state", `Exact, against ${shownName(state.against)}.`);
    byId("tables").classList.toggle("pending", !found.exact);
    fill(byId("tables"), found.tables);
    if (fresh) drawFrame(); else drawLine();
    drawAlong(found.along);
    if (found.logged) showLogged(found.logged);
  };
  const showLogged = (found) => {
    say("logged-text", found.text);
    byId("logged").classList.toggle("pending", !answer.exact);
    fill(byId("logged-table"), found.tables);
    drawLogged(found);
  };
  const runStyle = (name) => (name === begin.name ? { ...begin.style, dash: [] } : begin.curves.find((each) => each.name === name).style);
  const LOG = { colour: "#18222d", dash: [1.5, 3] };
  const drawLogged = (found) => {
    const svg = byId("logged-drawing"), width = svg.clientWidth, height = svg.clientHeight, left = 46, right = 14, top = 24, bottom = 32;
    const lines = [...found.logs, ...found.runs].map((each) => each.line).flat();
    const end = Math.max(...lines.map((each) => each[0]), 1), most = Math.max(...lines.map((each) => each[1]), 1) * 1.05;
    const u = (time) => left + (width - left - right) * time / end, v = (speed) => height - bottom - (height - top - bottom) * speed / most;
    svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    svg.replaceChildren();
    const dv = steps(most, 4), dt = steps(end, width < 500 ? 4 : 8);
    for (let speed = 0; speed <= most; speed += dv) {
      drawn(svg, "line", { x1: left, x2: width - right, y1: v(speed), y2: v(speed), stroke: "#d9dde1" });
      drawn(svg, "text", { x: left - 6, y: v(speed) + 4, "text-anchor": "end" }, String(Math.round(speed)));
    }
    for (let time = dt; time <= 0.92 * end; time += dt) drawn(svg, "text", { x: u(time), y: height - bottom + 18, "text-anchor": "middle" }, String(Number(time.toFixed(1))));
    drawn(svg, "text", { x: left, y: 12 }, `speed [${begin.speed_unit}]`);
    drawn(svg, "text", { x: width - right, y: height - bottom + 18, "text-anchor": "end" }, begin.units.time);
    const line = (points, style, wide) => drawn(svg, "path", {
      d: points.map(([a, b], k) => `${k ? "L" : "M"}${u(a).toFixed(1)} ${v(b).toFixed(1)}`).join(""), fill: "none",
      stroke: style.colour, "stroke-width": wide, "stroke-dasharray": style.dash.join(" ") || "none",
    });
    for (const each of found.runs) line(each.line, runStyle(each.name), 2);
    for (const each of found.logs) line(each.line, LOG, 1.3).classList.add("log");
  };
  const showWhy = (found) => {
    why = found;
    spans = found.spans;
    say("why-state", `${shownName(state.against)} and ${begin.name}: hatched in the drawing are the spans of engine speed that help one of them, in its colour.`);
    byId("verdict").replaceChildren();
    for (const sentence of found.verdict) made(byId("verdict"), "p", {}, sentence);
    fill(byId("wear"), found.tables);
    drawSpans();
  };
  const drawAlong = (line) => {
    const svg = byId("along"), width = svg.clientWidth, height = svg.clientHeight, left = 46, right = 14, top = 10, bottom = 32;
    const most = Math.max(0.02, ...line.map((each) => Math.abs(each[1]))), end = line.at(-1)[0];
    const u = (place) => left + (width - left - right) * place / end;
    const v = (gap) => top + (height - top - bottom) * (0.5 - 0.46 * gap / most);
    svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    svg.replaceChildren();
    drawn(svg, "line", { x1: left, x2: width - right, y1: v(0), y2: v(0), stroke: "#7d8792" });
    const ticks = [-most, 0, most];
    for (const gap of ticks) drawn(svg, "text", { x: left - 5, y: v(gap) + 4, "text-anchor": "end" }, gap ? (gap > 0 ? "+" : "−") + Math.abs(gap).toFixed(2) : "0");
    const step = steps(end, 4);
    for (let place = step; place < 0.9 * end; place += step) drawn(svg, "text", { x: u(place), y: height - bottom + 18, "text-anchor": "middle" }, String(Math.round(place)));
    drawn(svg, "text", { x: width - right, y: height - bottom + 18, "text-anchor": "end" }, begin.units.distance);
    drawn(svg, "text", { x: left + 4, y: top + 8, class: "quiet" }, `${begin.units.time}; above: ${begin.name} is behind`);
    drawn(svg, "path", { d: line.map(([a, b], k) => `${k ? "L" : "M"}${u(a).toFixed(1)} ${v(b).toFixed(1)}`).join(""), fill: "none", stroke: begin.style.colour, "stroke-width": 2.2 });
  };

  // --- settings ---

  const sliders = new Map();
  const showSettings = () => {
    for (const each of begin.sliders) {
      const { field, shown } = sliders.get(each.key), value = state.values[each.key] ?? each.value;
      field.value = value;
      shown.textContent = `${value} ${each.unit}${each.key in state.values ? "" : " (as given)"}`;
      field.setAttribute("aria-valuetext", `${value} ${each.unit}`);
    }
    for (const field of byId("choices").querySelectorAll("select")) {
      field.value = field.dataset.kind ? state.taken[field.dataset.kind] ?? "as described" : state.against;
    }
    for (const field of byId("tests").querySelectorAll("input")) field.checked = state.tests.includes(field.value);
  };
  const makeSettings = () => {
    for (const each of begin.sliders) {
      const box = made(byId("sliders"), "div", { class: "slider" }), id = `slider-${each.key}`;
      made(box, "label", { for: id }, each.label);
      const shown = made(box, "output", { for: id });
      const field = made(box, "input", { id, type: "range", min: each.low, max: each.high, step: "any" });
      field.addEventListener("input", (event) => {
        const digits = Math.max(0, Math.ceil(-Math.log10(each.step)));
        const near = Number((Math.round(Number(field.value) / each.step) * each.step).toFixed(digits));
        const value = Math.min(Math.max(near, each.low), each.high);
        if (Math.abs(value - each.value) < 0.5 * each.step) delete state.values[each.key];
        else state.values = { ...state.values, [each.key]: value };
        showSettings();
        change(event.timeStamp);
      });
      field.addEventListener("keydown", (event) => {
        const by = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 }[event.key];
        if (!by) return;
        event.preventDefault();
        field.value = Number(field.value) + by * each.step;
        field.dispatchEvent(new Event("input"));
        commit();
      });
      field.addEventListener("change", commit);
      sliders.set(each.key, { field, shown });
    }
    const select = (label, kind, names) => {
      const box = made(byId("choices"), "div"), id = `choice-${byId("choices").children.length}`;
      made(box, "label", { for: id }, label);
      const field = made(box, "select", kind ? { id, "data-kind": kind } : { id });
      for (const [value, text] of names) made(field, "option", { value }, text);
      field.addEventListener("change", () => {
        if (kind) state.taken = { ...state.taken, [kind]: field.value };
        else state.against = field.value;
        background = kind ? background : null;
        change();
        commit();
        makeKey();
      });
    };
    select("set against", "", begin.curves.map((each) => [each.name, each.shown]));
    for (const { kind, names } of begin.choices) select(kind, kind, names.map((each) => [each, each]));
    for (const name of begin.tests) {
      const label = made(byId("tests"), "label");
      const field = made(label, "input", { type: "checkbox", value: name });
      field.disabled = name === begin.goal;
      label.append(` ${name}`);
      field.addEventListener("change", () => {
        const wanted = new Set(state.tests);
        if (field.checked) wanted.add(name); else wanted.delete(name);
        state.tests = begin.tests.filter((each) => wanted.has(each)).slice(0, 12);
        showSettings();
        change();
        commit();
      });
    }
    showSettings();
  };
  const makeKey = () => {
    const key = byId("key");
    key.replaceChildren();
    byId("logged-key").replaceChildren();
    const entry = (text, style, width, key = byId("key")) => {
      const item = made(key, "li"), sample = drawn(item, "svg", { viewBox: "0 0 30 12", "aria-hidden": "true" });
      drawn(sample, "line", { x1: 0, x2: 30, y1: 6, y2: 6, stroke: style.colour, "stroke-width": width, "stroke-dasharray": style.dash.join(" ") || "none" });
      item.append(text);
    };
    entry(`${begin.name} (from ${begin.from}${begin.points.length < begin.points_of_curve ? `, ${begin.points_of_curve} points thinned out to ${begin.points.length}` : ""})`, { ...begin.style, dash: [] }, 2.6);
    for (const each of begin.curves) entry(`${each.shown}${each.name === state.against ? " (set against)" : ""}`, each.style, each.name === state.against ? 2.2 : 1.4);
    entry("most that the tyres can use, by gear", { colour: "#5c5c5c", dash: [4, 2] }, 1.3);
    if (begin.caps.length) entry("limits of the engine", { colour: "#a39e93", dash: [] }, 3);
    if (!begin.logged) return;
    entry(begin.logged > 1 ? `${begin.logged} logs` : "log", LOG, 1.2, byId("logged-key"));
    entry(`calculated, ${begin.name}`, { ...begin.style, dash: [] }, 2, byId("logged-key"));
    entry(`calculated, ${shownName(state.against)}`, runStyle(state.against), 2, byId("logged-key"));
  };

  // --- what takes longer ---

  const studies = [...document.querySelectorAll("[data-study]")];
  for (const button of studies) {
    button.addEventListener("click", async () => {
      for (const each of studies) each.disabled = true;
      say("done", "Working; this may take a minute. The curve can be moved meanwhile.", true);
      const found = await ask(button.dataset.study, { ...state, name: byId("name").value });
      say("done", found.fault ?? found.text);
      if (found.points) { state.points = found.points; chosen = 0; change(); commit(); drawFrame(); }
      for (const each of studies) each.disabled = each.dataset.study === "odds" && !begin.uncertain;
      button.focus();
    });
  }

  // --- begin ---

  byId("car").textContent = begin.car;
  byId("fleet").hidden = byId("which").hidden = !several;
  byId("logged").hidden = !begin.logged;
  for (const each of begin.cars) made(byId("which-car"), "option", { value: each.name }, each.shown);
  byId("which-car").value = begin.chosen_car;
  // Another car is a page of its own; the shaped points go along.
  byId("which-car").addEventListener("change", () => {
    sessionStorage.setItem("points", JSON.stringify(state.points));
    location.search = `?car=${encodeURIComponent(byId("which-car").value)}`;
  });
  document.title = `Shape the curve: ${begin.car}`;
  byId("goal").textContent = begin.goal;
  byId("caution").textContent = begin.caution;
  byId("speed-head").textContent = `Engine speed [${begin.units.speed}]`;
  byId("torque-head").textContent = `Torque [${begin.units.torque}]`;
  byId("name").value = `${begin.stem.replace(/[^A-Za-z0-9 _-]/g, "-").slice(0, 45) || "curve"}-shaped`;
  studies.find((each) => each.dataset.study === "odds").disabled = !begin.uncertain;
  byId("undo").disabled = byId("redo").disabled = true;
  byId("undo").addEventListener("click", () => travel(-1));
  byId("redo").addEventListener("click", () => travel(1));
  byId("add").addEventListener("click", add);
  byId("remove").addEventListener("click", () => remove(chosen, true));
  drawing.addEventListener("dblclick", (event) => {
    const [px, py] = inDrawing(event);
    addAt(speedAt(px), torqueAt(py));
  });
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.target.matches("input[type=text], input[type=number]")) return;
    const key = event.key.toLowerCase();
    if (key !== "z" && key !== "y") return;
    event.preventDefault();
    travel(key === "y" || event.shiftKey ? 1 : -1);
  });
  makeSettings();
  makeKey();
  drawFrame();
  new ResizeObserver(() => {
    if (drawing.clientWidth === area.width && drawing.clientHeight === area.height) return;
    drawFrame();
    if (answer) drawAlong(answer.along);
    if (answer?.logged) drawLogged(answer.logged);
  }).observe(drawing);
  const carried = sessionStorage.getItem("points");
  if (carried !== null) {
    sessionStorage.removeItem("points");
    state.points = JSON.parse(carried);
    commit();
    drawFrame();
    if (document.activeElement === document.body) byId("which-car").focus({ preventScroll: true });
  }
  change();
})();
