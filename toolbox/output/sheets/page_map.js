// The drawing: a ground of water, depths and what to keep out of, kept as a picture larger than the window and moved with
// the hand; the run, marks and names are drawn anew over it every time.
const charts = (function () {
  const ROOM = 0.35;        // what the kept picture reaches beyond the window, as a share of it
  const DETAIL_PX = 0.7;    // finer than this is left out
  const MOST_DENSE = 2;     // dots of a screen to a pixel that are drawn
  const NEAR = [0, 2, 6, 16, 40, 100];  // metres between places of an outline, from the finest drawing to the coarsest

  // Outlines thinned for a scale, as paths, made when first asked for.
  function drawable(shape, closed) {
    const made = new Map();
    return function (scale) {
      let level = NEAR.length - 1;
      while (level > 0 && NEAR[level] * scale > DETAIL_PX) { level -= 1; }
      if (!made.has(level)) {
        const path = new Path2D();
        (level && closed ? places.thinned(shape, NEAR[level]) : shape).lines.forEach(function (line) {
          path.moveTo(line[0], line[1]);
          for (let k = 2; k < line.length; k += 2) { path.lineTo(line[k], line[k + 1]); }
          if (closed) { path.closePath(); }
        });
        made.set(level, path);
      }
      return made.get(level);
    };
  }

  function layerOf(text, step, closed) {
    const shape = places.shapeOf(text, step);
    return { shape: shape, path: drawable(shape, closed) };
  }

  function make(canvas, data, colourOf) {
    const pen = canvas.getContext('2d'), ground = document.createElement('canvas'), groundPen = ground.getContext('2d');
    const chart = {
      view: { x: data.wide / 2, y: data.high / 2, scale: 0.1 },
      shown: { depths: true, dry: true, zones: true, run: true, stops: true, spots: true, names: true, hazards: 'full' },
      chosen: null, pointed: null, boat: null, measured: [], cross: false, wide: 0, high: 0, drawn: 0,
    };
    const water = data.water.map(function (text) { return layerOf(text, data.step, true); });
    const dry = data.dry.map(function (text) { return layerOf(text, data.step, true); });
    const bands = data.bands.map(function (band) { return layerOf(band.shape, data.step, true); });
    data.things.concat(data.stops).forEach(function (thing) {
      if (thing.shape) { thing.drawn = layerOf(thing.shape, data.step, thing.area !== false); }
    });
    const ofRole = function (role) { return data.things.filter(function (thing) { return thing.role === role; }); };
    const hazards = ofRole('shallow_hazards'), zones = ofRole('zones'), known = ofRole('known_hazards');
    const ramps = ofRole('ramps'), spots = ofRole('spots');
    const drawn = marks.make(pen, chart, colourOf), on = drawn.on, line = drawn.line, ring = drawn.ring;
    let dense = 1, kept = null, later = 0, hatches = {};

    function under(px, py) {
      const view = chart.view;
      return [(px - chart.wide / 2) / view.scale + view.x, view.y - (py - chart.high / 2) / view.scale];
    }

    // Hatching as a small tile: one way for too thin to run, crossed for too thin even at idle; dots for dry ground.
    function hatch(care) {
      if (!hatches[care]) {
        const tile = document.createElement('canvas'), side = 8 * dense;
        tile.width = tile.height = side;
        const draw = tile.getContext('2d');
        if (care === 'dry') {
          draw.fillStyle = colourOf('dry');
          draw.fillRect(0, 0, side, side);
          draw.fillStyle = colourOf('drydots');
          draw.fillRect(side / 4, side / 4, dense, dense);
          draw.fillRect(3 * side / 4, 3 * side / 4, dense, dense);
          hatches[care] = groundPen.createPattern(tile, 'repeat');
          return hatches[care];
        }
        draw.fillStyle = colourOf('thinground');
        draw.fillRect(0, 0, side, side);
        draw.strokeStyle = colourOf('thin');
        draw.lineWidth = (care === 'idle' ? 1.5 : 1.1) * dense;
        draw.beginPath();
        for (let k = -1; k <= 1; k += 1) {
          draw.moveTo(k * side - side, side * 2);
          draw.lineTo(k * side + side * 2, -side);
          if (care === 'idle') {
            draw.moveTo(k * side - side, -side);
            draw.lineTo(k * side + side * 2, side * 2);
          }
        }
        draw.stroke();
        hatches[care] = groundPen.createPattern(tile, 'repeat');
      }
      return hatches[care];
    }

    function visible(layer, box) {
      const own = layer.shape.box;
      return own[0] <= box[2] && own[2] >= box[0] && own[1] <= box[3] && own[3] >= box[1];
    }

    // Draws the ground round the middle of the view into the kept picture.
    function drawGround() {
      const view = chart.view, scale = view.scale;
      const wide = Math.ceil(chart.wide * (1 + 2 * ROOM)), high = Math.ceil(chart.high * (1 + 2 * ROOM));
      if (ground.width !== wide * dense || ground.height !== high * dense) {
        ground.width = wide * dense;
        ground.height = high * dense;
      }
      const g = groundPen, px = 1 / scale;
      const halfX = wide / 2 / scale, halfY = high / 2 / scale;
      const box = [view.x - halfX, view.y - halfY, view.x + halfX, view.y + halfY];
      g.setTransform(1, 0, 0, 1, 0, 0);
      g.fillStyle = colourOf('land');
      g.fillRect(0, 0, ground.width, ground.height);
      g.setTransform(scale * dense, 0, 0, -scale * dense, (wide / 2 - view.x * scale) * dense, (high / 2 + view.y * scale) * dense);
      const back = g.getTransform().inverse();
      g.lineJoin = 'round';
      const fill = function (layers, style) {
        g.fillStyle = style;
        layers.forEach(function (layer) { if (visible(layer, box)) { g.fill(layer.path(scale), 'evenodd'); } });
      };
      const stroke = function (layers, style, size) {
        g.strokeStyle = style;
        g.lineWidth = size * px;
        layers.forEach(function (layer) { if (visible(layer, box)) { g.stroke(layer.path(scale)); } });
      };
      fill(water, chart.shown.depths && bands.length ? colourOf('w0') : colourOf('plain'));
      if (chart.shown.depths) {
        bands.forEach(function (layer, k) { fill([layer], colourOf('w' + k)); });
        g.globalAlpha = Math.min(0.7, 0.15 + 2 * scale);
        if (scale > 0.05) { stroke(bands.slice(1), colourOf('iso'), 0.6); }
        g.globalAlpha = 1;
      }
      if (chart.shown.dry) {
        const dots = hatch('dry');
        dots.setTransform(back);
        fill(dry, dots);
      }
      const thin = function (layer) { return layer.drawn; };
      if (chart.shown.hazards !== 'none') {
        g.globalAlpha = chart.shown.hazards === 'dim' ? 0.35 : 1;
        ['run', 'idle'].forEach(function (care) {
          const own = hazards.filter(function (one) { return (one.care === 'idle') === (care === 'idle'); }).map(thin);
          const pattern = hatch(care);
          pattern.setTransform(back);
          fill(own, pattern);
          stroke(own, colourOf('thin'), Math.max(0.35, Math.min(1, 7 * scale)));
        });
        const areas = known.filter(function (one) { return one.drawn; });
        areas.filter(function (one) { return one.area; }).forEach(function (one) {
          const pattern = hatch('idle');
          pattern.setTransform(back);
          fill([one.drawn], pattern);
        });
        stroke(areas.map(thin), colourOf('known'), 2);
        g.globalAlpha = 1;
      }
      stroke(water, colourOf('landedge'), 1);
      if (chart.shown.zones) {
        zones.filter(function (zone) { return zone.drawn; }).forEach(function (zone) {
          g.setLineDash((zone.kind === 'no entry' ? [9, 3, 2, 3] : zone.kind === 'no motor' ? [2, 3] : [7, 4]).map(function (one) { return one * px; }));
          stroke([zone.drawn], colourOf('zone'), 2);
        });
        g.setLineDash([]);
      }
      kept = { x: view.x, y: view.y, scale: scale, wide: wide, high: high };
    }

    function settle() {
      later = 0;
      kept = null;
      draw();
    }

    // Puts the kept picture where the view is now; tells whether it fills the window.
    function putGround() {
      const view = chart.view, by = view.scale / kept.scale;
      const wide = kept.wide * by, high = kept.high * by;
      const left = chart.wide / 2 + (kept.x - view.x) * view.scale - wide / 2;
      const top = chart.high / 2 - (kept.y - view.y) * view.scale - high / 2;
      const whole = left <= 0 && top <= 0 && left + wide >= chart.wide && top + high >= chart.high;
      if (!whole) {
        pen.fillStyle = colourOf('land');
        pen.fillRect(0, 0, chart.wide, chart.high);
      }
      // moved only: whole dots, so that nothing is blended anew
      const whole_dots = function (at) { return by === 1 ? Math.round(at * dense) / dense : at; };
      pen.imageSmoothingEnabled = by !== 1;
      pen.drawImage(ground, whole_dots(left), whole_dots(top), wide, high);
      return whole;
    }

    // The important first.
    function drawNames(marks) {
      const put = drawn.namer(marks);
      const paper = colourOf('paper'), ink = colourOf('ink'), near = chart.view.scale;
      if (chart.shown.stops) {
        const done = new Map();
        data.stops.forEach(function (stop) {
          const place = stop.at.join(' '), told = done.get(place);
          if (told) { told.number += '·' + stop.number; } else { done.set(place, { stop: stop, number: stop.number }); }
        });
        done.forEach(function (one) {
          put(on(one.stop.at[0], one.stop.at[1]), chart.shown.names ? [one.number + ' ' + one.stop.name, one.number] : [one.number], true, paper, ink);
        });
      }
      if (chart.shown.run) {
        data.legs.forEach(function (leg) {
          const all = leg.pieces.reduce(function (sum, piece) { return sum.concat(piece.line); }, []);
          const at = places.midway(all);
          if (at && places.lengthOf(all) * near > 60) { put(on(at[0], at[1]), [String(leg.number)], true, colourOf('run'), colourOf('casing')); }
        });
      }
      if (!chart.shown.names) { return; }
      ramps.forEach(function (ramp) { put(on(ramp.at[0], ramp.at[1]), [ramp.name], false, paper, colourOf('ramp')); });
      if (chart.shown.zones && near > 0.06) {
        zones.forEach(function (zone) { put(on(zone.at[0], zone.at[1]), [zone.kind], false, paper, colourOf('zone')); });
      }
      if (chart.shown.spots && near > 0.35) {
        spots.filter(onScreen).slice(0, 60).forEach(function (spot) { put(on(spot.at[0], spot.at[1]), [spot.name], false, paper, ink); });
      }
    }

    function onScreen(thing) {
      const at = on(thing.at[0], thing.at[1]);
      return at[0] > -150 && at[1] > -30 && at[0] < chart.wide + 150 && at[1] < chart.high + 30;
    }

    function halo(thing, size) {
      pen.globalAlpha = 0.85;
      if (thing.pieces) {
        thing.pieces.forEach(function (piece) { line(piece.line, colourOf('mark'), size + 6); });
      } else if (thing.drawn && !thing.number) {
        pen.save();
        pen.transform(chart.view.scale, 0, 0, -chart.view.scale, chart.wide / 2 - chart.view.x * chart.view.scale, chart.high / 2 + chart.view.y * chart.view.scale);
        pen.lineWidth = size / chart.view.scale;
        pen.strokeStyle = colourOf('mark');
        pen.stroke(thing.drawn.path(chart.view.scale));
        pen.restore();
      } else {
        pen.beginPath();
        const at = on(thing.at[0], thing.at[1]);
        pen.arc(at[0], at[1], 13, 0, 2 * Math.PI);
        pen.lineWidth = size;
        pen.strokeStyle = colourOf('mark');
        pen.stroke();
      }
      pen.globalAlpha = 1;
    }

    function drawRun() {
      const casing = colourOf('casing');
      if (chart.shown.run) {
        data.legs.forEach(function (leg) { leg.pieces.forEach(function (piece) { line(piece.line, casing, 5.5); }); });
        data.legs.forEach(function (leg) {
          leg.pieces.forEach(function (piece) { line(piece.line, colourOf('run'), 2.4, piece.part === 'run' ? [] : [5, 4]); });
        });
      }
      if (chart.shown.stops) {
        data.stops.forEach(function (stop) {
          if (stop.shape && chart.view.scale > 0.12) { halo({ drawn: stop.drawn }, 1.2); }
          if (stop.cast) {
            line(stop.cast, casing, 4.5);
            line(stop.cast, colourOf('cast'), 2.2);
          }
        });
      }
    }

    function drawMarks() {
      const spoken = [], near = chart.view.scale > 0.09;
      if (chart.shown.hazards !== 'none') {
        pen.globalAlpha = chart.shown.hazards === 'dim' ? 0.45 : 1;
        known.filter(onScreen).forEach(function (one) {
          if (!one.drawn || near) { drawn.strokes(on(one.at[0], one.at[1]), 4, colourOf('known')); }
        });
        pen.globalAlpha = 1;
      }
      if (chart.shown.spots) {
        spots.filter(onScreen).forEach(function (spot) {
          const at = on(spot.at[0], spot.at[1]);
          if (!near) { ring(at, 1.6, colourOf('leftout'), colourOf('leftout'), 0.5); }
          else if (spot.out) { drawn.strokes(at, 3.5, colourOf('leftout')); }
          else { ring(at, 3, colourOf('spot'), colourOf('leftout'), 1.5); }
        });
      }
      ramps.forEach(function (ramp) {
        const at = on(ramp.at[0], ramp.at[1]);
        drawn.polygon(at, marks.SLOPE, colourOf('ramp'), colourOf('casing'), 1.2);
        spoken.push(at);
      });
      if (chart.shown.stops) {
        data.stops.forEach(function (stop) {
          const at = on(stop.at[0], stop.at[1]);
          if (stop.ramp) { return; }
          if (stop.spot && near) { ring(on(stop.spot[0], stop.spot[1]), 3.2, colourOf('spot'), colourOf('ink'), 1.5); }
          drawn.polygon(at, marks.BOAT, colourOf('hold'), colourOf('holdedge'), 1.2);
          spoken.push(at);
        });
      }
      return spoken;
    }

    function draw() {
      if (!chart.wide) { return; }
      if (!kept) { drawGround(); }
      pen.setTransform(dense, 0, 0, dense, 0, 0);
      pen.lineCap = 'round';
      pen.lineJoin = 'round';
      if (!putGround() || kept.scale !== chart.view.scale) {
        window.clearTimeout(later);
        later = window.setTimeout(settle, 90);
      }
      drawRun();
      [chart.pointed, chart.chosen].forEach(function (thing) { if (thing) { halo(thing, 3); } });
      const spoken = drawMarks();
      if (chart.boat) {
        const at = on(chart.boat[0], chart.boat[1]);
        ring(at, 9, colourOf('mark'), colourOf('casing'), 3);
        ring(at, 3.5, colourOf('casing'), colourOf('casing'), 1);
        spoken.push(at);
      }
      drawNames(spoken);
      drawn.drawTools(data.metric, data.north);
      chart.drawn += 1;
    }

    let asked = 0;
    return Object.assign(chart, {
      on: on,
      under: under,
      bandAt: function (x, y) {
        let found = -1;
        bands.forEach(function (layer, k) { if (places.within(layer.shape, x, y)) { found = k; } });
        return found;
      },
      wet: function (x, y) { return water.some(function (layer) { return places.within(layer.shape, x, y); }); },
      // Draws at the next frame, once, however often it is asked.
      redraw: function (anew) {
        if (anew) { kept = null; }
        if (!asked) {
          asked = window.requestAnimationFrame(function () {
            asked = 0;
            draw();
          });
        }
      },
      drawNow: draw,
      recolour: function () {
        hatches = {};
        chart.redraw(true);
      },
      resize: function () {
        const box = canvas.getBoundingClientRect();
        dense = Math.min(window.devicePixelRatio || 1, MOST_DENSE);
        chart.wide = Math.max(1, Math.round(box.width));
        chart.high = Math.max(1, Math.round(box.height));
        canvas.width = chart.wide * dense;
        canvas.height = chart.high * dense;
        hatches = {};
        kept = null;
      },
    });
  }

  return { make };
}());
