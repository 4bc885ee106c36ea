// Draws the chart over the plain one, once everything else can be read. A zoom fetches only what is
// seen. The library comes from our own server.
"use strict";

(() => {
  const figure = document.querySelector(".chart");
  const plain = figure.querySelector(".plain");
  const drawn = figure.querySelector(".drawn");
  const startedMs = Number(figure.dataset.startedMs);
  const CHANNELS = [
    { name: "current", axis: "y3", top: 0.995, band: true },
    { name: "voltage", axis: "y2", top: 0.63, band: true },
    { name: "thickness", axis: "y", top: 0.265, band: false },
    { name: "charge", axis: "y", top: 0.265, band: false }, // where the thickness is not known
  ];
  // A part of the library that draws maps, not used here, looks for the element with its style rules
  // by this id, and writes them into the page where it is missing; our policy forbids that.
  const UNUSED_RULES = "9f215cf04c5486422605d13261cb87401f4e7763b6296af81e98efbc0130da53";
  let span = null; // what is zoomed into, in s since the start; null is the whole run

  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  function library() {
    const stand = document.createElement("meta");
    stand.id = UNUSED_RULES;
    document.head.append(stand);
    return new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = figure.dataset.library;
      script.onload = done;
      script.onerror = failed;
      document.head.append(script);
    });
  }

  // The library takes clock times as text without a zone; these are the reader's.
  function local(seconds) {
    if (seconds === null) return null;
    const moment = new Date(startedMs + seconds * 1000);
    return new Date(moment - moment.getTimezoneOffset() * 60000).toISOString().slice(0, -1);
  }

  function sinceStart(text) {
    return (new Date(text.replace(" ", "T")) - startedMs) / 1000;
  }

  async function columns() {
    const address = new URL(figure.dataset.source, location);
    address.searchParams.set("points", Math.min(2000, Math.round(drawn.clientWidth * 1.5) || 600));
    if (span) {
      address.searchParams.set("from", Math.max(0, span[0]).toFixed(1));
      address.searchParams.set("to", span[1].toFixed(1));
    }
    const answer = await fetch(address);
    if (!answer.ok) throw new Error(answer.status);
    return answer.json();
  }

  // One outline around each stretch without a gap: there along the greatest, back along the least.
  function outline(x, least, most) {
    const outlined = { x: [], y: [] };
    let stretch = [];
    const close = () => {
      const back = [...stretch].reverse();
      outlined.x.push(...stretch.map((i) => x[i]), ...back.map((i) => x[i]), null);
      outlined.y.push(...stretch.map((i) => most[i]), ...back.map((i) => least[i]), null);
      stretch = [];
    };
    x.forEach((_, i) => (most[i] === null ? close() : stretch.push(i)));
    close();
    return outlined;
  }

  const shown = (data) =>
    CHANNELS.filter(({ name }) => name !== (data.thickness ? "charge" : "thickness"));

  function traces(data) {
    const x = data.t.map(local);
    const toldX = (data.foretold_t || []).map(local);
    return shown(data).flatMap(({ name, axis, band }) => {
      const trace = { yaxis: axis, mode: "lines", type: "scatter", name: figure.dataset[name] };
      const area = (at, columns, look) => {
        const { [`${columns}_least`]: least, [`${columns}_most`]: most } = data;
        return most ? [{ ...trace, ...outline(at, least, most), fill: "toself", hoverinfo: "skip",
          ...look }] : [];
      };
      const y = data[band ? `${name}_mean` : name];
      return [
        ...area(toldX, `foretold_${name}`, { fillcolor: colour("--line"),
          line: { color: colour("--soft"), width: 1, dash: "dot" } }),
        ...(band ? area(x, name, { fillcolor: colour("--band"), line: { width: 0 } }) : []),
        { ...trace, x, y, line: { color: colour("--ink"), width: 1.5 } },
      ];
    });
  }

  function layout(data) {
    const soft = colour("--soft");
    const axis = { gridcolor: colour("--line"), zeroline: false, fixedrange: true, nticks: 4,
      rangemode: "tozero", tickfont: { color: soft, size: 12 } };
    const titled = (text, y) => ({ text, x: 0, y, xref: "paper", yref: "paper", xanchor: "left",
      yanchor: "bottom", showarrow: false, font: { color: soft, size: 13 } });
    return {
      xaxis: { anchor: "y", showgrid: false, linecolor: soft, tickfont: { color: soft, size: 12 },
        ticks: "outside", tickcolor: soft, nticks: 6, tickangle: 0,
        // What comes after the line's end stands once for each day.
        tickformatstops: [
          { dtickrange: [null, 30000], value: "%H:%M:%S\n%-d %b" },
          { dtickrange: [30000, 86400000], value: "%H:%M\n%-d %b" },
          { dtickrange: [86400000, null], value: "%-d %b" },
        ] },
      yaxis: { ...axis, domain: [0, 0.26] },
      yaxis2: { ...axis, domain: [0.365, 0.625] },
      yaxis3: { ...axis, domain: [0.73, 0.99] },
      annotations: shown(data).map(({ name, top }) => titled(figure.dataset[name], top)),
      margin: { l: 34, r: 18, t: 18, b: 44 },
      paper_bgcolor: "transparent",
      plot_bgcolor: "transparent",
      font: { family: getComputedStyle(document.body).fontFamily, color: soft },
      showlegend: false,
      hovermode: "x",
      hoverlabel: { bgcolor: colour("--key"), font: { color: colour("--key-ink") } },
      dragmode: "zoom",
      uirevision: figure.dataset.source,
    };
  }

  async function draw() {
    const data = await columns();
    if (!data.t.length) return;
    const first = drawn.hidden;
    drawn.hidden = false;
    plain.hidden = true;
    await window.Plotly.react(drawn, traces(data), layout(data),
      { displayModeBar: false, responsive: true, doubleClick: "reset" });
    if (first) drawn.on("plotly_relayout", zoomed);
  }

  function zoomed(change) {
    const from = change["xaxis.range[0]"];
    const to = change["xaxis.range[1]"];
    if (from && to) span = [sinceStart(from), sinceStart(to)];
    else if (change["xaxis.autorange"]) span = null;
    else return;
    redraw();
  }

  // A chart that cannot be fetched stays as it was: the figures tell how old everything is.
  const redraw = () => draw().catch(() => {});

  async function begin() {
    await library();
    await redraw();
    setInterval(() => document.hidden || redraw(), Number(figure.dataset.everyMs));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  }

  if (!navigator.connection?.saveData) {
    window.addEventListener("load", () => setTimeout(() => begin().catch(() => {}), 200));
  }
})();
