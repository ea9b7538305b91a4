"use strict";
(() => {
  const data = JSON.parse(document.getElementById("what-if-data").textContent);
  const height = document.getElementById("height");
  const grip = document.getElementById("grip");
  const state = document.getElementById("state");
  const cells = [...document.querySelectorAll("[data-cell]")];
  const drawings = [...document.querySelectorAll("[data-area]")];
  const minus = "\u2212";

  // A place between two neighbours of a list: which they are, and how far along.
  const between = (slider, count) => {
    const place = Number(slider.value) / data.steps;
    const low = Math.min(Math.floor(place), count - 1);
    return { low, high: Math.min(low + 1, count - 1), share: place - low };
  };
  const mixed = (one, other, share) => {
    if (share === 0) return one;
    return one === null || other === null ? null : one + share * (other - one);
  };
  const along = (list, at) => mixed(list[at.low], list[at.high], at.share);
  const over = (rows, h, g) => mixed(along(rows[h.low], g), along(rows[h.high], g), h.share);
  const text = (value, digits) => (value === null ? "-" : value.toFixed(digits).replace(/^-(?=[0.]*$)/, ""));
  const whole = (value) => String(Math.round(value * 10) / 10);

  const line = (values, area) => {
    const [left, right, top, bottom, x0, x1, y0, y1] = area;
    let path = "", pen = "M";
    values.forEach((value, k) => {
      if (value === null) { pen = "M"; return; }
      const x = left + (right - left) * (data.speed[k] - x0) / (x1 - x0);
      const y = bottom - (bottom - top) * (Math.min(value, 3 * y1) - y0) / (y1 - y0);
      path += `${pen} ${x.toFixed(2)} ${y.toFixed(2)} `;
      pen = "L";
    });
    return path;
  };

  const draw = (torque, g) => {
    const lines = { cut: data.envelope.map((value) => Math.min(value, torque)) };
    data.gears.forEach((gear, k) => {
      const low = data.ceilings[g.low][k], high = data.ceilings[g.high][k];
      lines[`ceiling-${gear}`] = low.map((value, n) => mixed(value, high[n], g.share));
    });
    for (const drawing of drawings) {
      const area = JSON.parse(drawing.dataset.area);
      for (const [name, values] of Object.entries(lines)) {
        const path = drawing.querySelector(`[data-line="${name}"] path`);
        if (path) path.setAttribute("d", line(values, area));
      }
    }
  };

  const sentence = (mine, others) => {
    if (mine === null) return `With this plateau ${data.goal} is not reached.`;
    const parts = others.map((other, k) => {
      const name = `\u201c${data.names[k]}\u201d`;
      if (other === null) return `${name} does not reach it`;
      const gap = mine - other;
      if (Math.abs(gap) < data.worth_naming) return `level with ${name} within ${data.worth_naming.toFixed(2)} s`;
      return `${Math.abs(gap).toFixed(2)} s ${gap < 0 ? "quicker" : "slower"} than ${name}`;
    });
    return `${data.goal} takes ${mine.toFixed(2)} s with full pedal: ${parts.join(", ")} on the same grip.`;
  };

  const show = () => {
    const h = between(height, data.heights.length), g = between(grip, data.grips.length);
    const torque = along(data.heights, h), share = along(data.grips, g);
    const heightShown = `${whole(torque)} ${data.torque_unit}`, gripShown = `${whole(share)} %`;
    document.getElementById("height-shown").textContent = heightShown;
    document.getElementById("grip-shown").textContent = gripShown;
    height.setAttribute("aria-valuetext", heightShown);
    grip.setAttribute("aria-valuetext", gripShown);
    document.getElementById("chosen-head").textContent = `plateau of ${heightShown}`;
    document.querySelector("[data-moved]").textContent = `, ${gripShown} grip`;
    for (const cell of cells) {
      const [which, column] = cell.dataset.cell.split(" ").map(Number);
      const measure = data.measures[which];
      const value = column === 0 ? over(measure.cut, h, g) : along(measure.curves[column - 1], g);
      cell.textContent = text(value, measure.digits);
    }
    const computed = h.share === 0 && g.share === 0;
    const others = data.measures[0].curves.map((curve) => along(curve, g));
    const how = computed
      ? "Computed: this height was launched on this grip."
      : "Interpolated between the nearest computed launches.";
    state.textContent = `${sentence(over(data.measures[0].cut, h, g), others)} ${how}`;
    state.dataset.computed = String(computed);
    draw(torque, g);
  };

  for (const part of document.querySelectorAll("[data-script]")) part.hidden = false;
  height.addEventListener("input", show);
  grip.addEventListener("input", show);
  show();
})();
