// The day by the hour: where the plan has the boat, what each hour brings, and the day drawn as bars.
const hours = (function () {
  function make(data, colourOf) {
    const clock = data.clock;

    function hourOf(at) {
      let last = null;
      (clock.hours || []).forEach(function (hour) { if (hour[0] <= at && at < hour[0] + 60) { last = hour[1]; } });
      return last;
    }

    // Where the plan has the boat at a minute: at a stop, on a leg, or before or after the day.
    function plannedAt(at) {
      const times = clock.times, stops = data.stops;
      for (let k = 0; k < stops.length; k += 1) {
        const arrive = times[k][0], leave = times[k][1];
        if ((arrive === null ? k === 0 : arrive <= at) && (leave === null ? k === stops.length - 1 : at <= leave)) { return { stop: stops[k], at: stops[k].at }; }
        const next = k + 1 < stops.length ? times[k + 1][0] : null;
        if (leave !== null && next !== null && leave < at && at < next) {
          const leg = data.legs.length === stops.length - 1 ? data.legs[k] : null;
          return leg ? onLeg(leg, (at - leave) / (next - leave), stops[k + 1]) : { next: stops[k + 1], at: null };
        }
      }
      return null;
    }

    function onLeg(leg, share, next) {
      const all_s = leg.seconds.reduce(function (sum, one) { return sum + one; }, 0);
      let left = share * all_s;
      for (let k = 0; k < leg.pieces.length; k += 1) {
        if (left <= leg.seconds[k] || k === leg.pieces.length - 1) {
          return { leg: leg, next: next, at: places.midway(leg.pieces[k].line, leg.seconds[k] ? Math.min(1, left / leg.seconds[k]) : 1) };
        }
        left -= leg.seconds[k];
      }
      return null;
    }

    // The day as bars: when a spot is fished, when the boat is under way, and the hours below.
    function drawStrip(strip, minute) {
      const box = strip.getBoundingClientRect(), dense = Math.min(window.devicePixelRatio || 1, 2);
      if (!box.width) { return; }
      strip.width = Math.round(box.width * dense);
      strip.height = Math.round(box.height * dense);
      const pen = strip.getContext('2d'), edge = 8, high = box.height;
      const x = function (at) { return edge + (box.width - 2 * edge) * (at - clock.begin) / Math.max(clock.end - clock.begin, 1); };
      pen.scale(dense, dense);
      pen.font = '11px system-ui, sans-serif';
      pen.textAlign = 'center';
      const each = 60 * Math.max(1, Math.ceil(44 / Math.max(x(clock.begin + 60) - x(clock.begin), 1)));
      for (let at = clock.begin; at <= clock.end; at += each) {
        pen.fillStyle = colourOf('rim');
        pen.fillRect(x(at) - 0.5, 14, 1, high - 14);
        pen.fillStyle = colourOf('quiet');
        pen.fillText(places.clockText(at).slice(0, 5), Math.max(15, Math.min(box.width - 15, x(at))), 11);
      }
      clock.times.forEach(function (pair, k) {
        const next = clock.times[k + 1];
        if (pair[1] !== null && next && next[0] !== null) {
          pen.fillStyle = colourOf('run');
          pen.fillRect(x(pair[1]), high / 2 + 6, x(next[0]) - x(pair[1]), 3);
        }
        if (pair[0] === null || pair[1] === null) { return; }
        const wide = Math.max(x(pair[1]) - x(pair[0]), 2);
        pen.fillStyle = colourOf('hold');
        pen.fillRect(x(pair[0]), 18, wide, high - 22);
        pen.strokeStyle = colourOf('ink');
        pen.strokeRect(x(pair[0]) + 0.5, 18.5, Math.max(wide - 1, 1), high - 23);
        if (wide > 15) {
          pen.fillStyle = '#1d2326';
          pen.fillText(data.stops[k].number, x(pair[0]) + wide / 2, high / 2 + 11);
        }
      });
      pen.fillStyle = colourOf('mark');
      pen.fillRect(x(minute) - 1.5, 13, 3, high - 13);
    }

    return { hourOf, plannedAt, drawStrip };
  }

  return { make };
}());
