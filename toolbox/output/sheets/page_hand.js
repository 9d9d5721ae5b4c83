// What a hand does to the map: one finger or the mouse moves it, two fingers or the wheel bring it nearer, keys do both.
const hands = (function () {
  const STEP_PX = 60, TAP_PX = 6, NEAREST = 8, ROUND_AGAIN_MS = 500;

  // `told` hears of taps (x, y in pixels, finger), of pointing without touching, and of every move.
  function lead(chart, pad, data, told) {
    const fingers = new Map();
    let from = null, moved = 0, apart = 0;

    function farthest() { return 0.6 * Math.min(chart.wide / data.wide, chart.high / data.high); }

    function keepIn() {
      const view = chart.view;
      view.scale = Math.max(farthest(), Math.min(NEAREST, view.scale));
      view.x = Math.max(0, Math.min(data.wide, view.x));
      view.y = Math.max(0, Math.min(data.high, view.y));
    }

    function move(dx, dy) {
      chart.view.x -= dx / chart.view.scale;
      chart.view.y += dy / chart.view.scale;
      keepIn();
      told.moved();
    }

    // Nearer or farther, what is under a point of the window staying there.
    function zoom(by, px, py) {
      const before = chart.under(px, py);
      chart.view.scale *= by;
      keepIn();
      const after = chart.under(px, py);
      chart.view.x += before[0] - after[0];
      chart.view.y += before[1] - after[1];
      keepIn();
      told.moved();
    }

    function whole() {
      chart.view = { x: data.wide / 2, y: data.high / 2, scale: 0.98 * Math.min(chart.wide / data.wide, chart.high / data.high) };
      told.moved();
    }

    // Brings places into the window; one place is brought near enough to read the bottom round it.
    function show(points, nearest) {
      const xs = points.map(function (one) { return one[0]; }), ys = points.map(function (one) { return one[1]; });
      const west = Math.min.apply(null, xs), east = Math.max.apply(null, xs), south = Math.min.apply(null, ys), north = Math.max.apply(null, ys);
      const fits = 0.75 * Math.min(chart.wide / Math.max(east - west, 1), chart.high / Math.max(north - south, 1));
      chart.view = { x: (west + east) / 2, y: (south + north) / 2, scale: Math.min(fits, nearest) };
      keepIn();
      told.moved();
    }

    function place(event) {
      const box = pad.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    }

    function middle() {
      const all = Array.from(fingers.values());
      const sum = all.reduce(function (at, one) { return [at[0] + one[0], at[1] + one[1]]; }, [0, 0]);
      return [sum[0] / all.length, sum[1] / all.length];
    }

    function spread() {
      const all = Array.from(fingers.values());
      return all.length < 2 ? 0 : Math.hypot(all[0][0] - all[1][0], all[0][1] - all[1][1]);
    }

    pad.addEventListener('pointerdown', function (event) {
      if (event.button) { return; }
      pad.setPointerCapture(event.pointerId);
      if (!fingers.size) { moved = 0; }
      fingers.set(event.pointerId, place(event));
      if (fingers.size > 1) { moved = Infinity; }
      from = middle();
      apart = spread();
      chart.cross = false;
    });
    pad.addEventListener('pointermove', function (event) {
      const at = place(event);
      if (!fingers.has(event.pointerId)) {
        if (event.pointerType === 'mouse') { told.pointed(at[0], at[1]); }
        return;
      }
      fingers.set(event.pointerId, at);
      const now = middle(), wide = spread();
      moved += Math.hypot(now[0] - from[0], now[1] - from[1]);
      if (moved > TAP_PX) {
        told.pointed(null);
        move(now[0] - from[0], now[1] - from[1]);
        if (apart && wide) { zoom(wide / apart, now[0], now[1]); }
        from = now;
      }
      apart = wide;
    });
    function lift(event) {
      if (!fingers.has(event.pointerId)) { return; }
      const at = place(event);
      fingers.delete(event.pointerId);
      if (!fingers.size && moved <= TAP_PX && event.type === 'pointerup') { told.tapped(at[0], at[1], event.pointerType === 'mouse' ? 9 : 20); }
      if (fingers.size) {
        from = middle();
        apart = spread();
      }
    }
    pad.addEventListener('pointerup', lift);
    pad.addEventListener('pointercancel', lift);
    pad.addEventListener('pointerleave', function () { if (!fingers.size) { told.pointed(null); } });

    // Where the lake is seen whole, a wheel turned on scrolls the page, so that nobody is caught in the map.
    let turned = 0;
    pad.addEventListener('wheel', function (event) {
      const away = event.deltaY > 0, lines = event.deltaMode === 1 ? 16 : event.deltaMode === 2 ? 120 : 1;
      if (away && chart.view.scale <= farthest() * 1.001 && event.timeStamp - turned > ROUND_AGAIN_MS) { return; }
      event.preventDefault();
      turned = event.timeStamp;
      const at = place(event);
      zoom(Math.exp(-Math.max(-240, Math.min(240, event.deltaY * lines)) * 0.0022), at[0], at[1]);
    }, { passive: false });
    pad.addEventListener('dblclick', function (event) {
      const at = place(event);
      zoom(2, at[0], at[1]);
    });

    const KEYS = {
      ArrowLeft: function () { move(STEP_PX, 0); },
      ArrowRight: function () { move(-STEP_PX, 0); },
      ArrowUp: function () { move(0, STEP_PX); },
      ArrowDown: function () { move(0, -STEP_PX); },
      '+': function () { zoom(1.5, chart.wide / 2, chart.high / 2); },
      '=': function () { zoom(1.5, chart.wide / 2, chart.high / 2); },
      '-': function () { zoom(1 / 1.5, chart.wide / 2, chart.high / 2); },
      '0': whole,
      Enter: function () { told.tapped(chart.wide / 2, chart.high / 2, 16); },
      Escape: function () { told.left(); },
    };
    pad.addEventListener('keydown', function (event) {
      const does = KEYS[event.key];
      if (!does || event.ctrlKey || event.altKey || event.metaKey) { return; }
      event.preventDefault();
      chart.cross = true;
      does();
      chart.redraw();
    });
    pad.addEventListener('blur', function () {
      chart.cross = false;
      chart.redraw();
    });

    return { whole: whole, show: show, zoom: function (by) { zoom(by, chart.wide / 2, chart.high / 2); }, keepIn: keepIn };
  }

  return { lead };
}());
