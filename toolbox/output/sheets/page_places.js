// Places and outlines: from the steps they are stored as to metres, to degrees, to distances and courses. Nothing here
// touches the page.
const places = (function () {
  const FOOT_M = 0.3048, MILE_M = 1609.344;
  const AXIS_M = 6378137.0, FLAT = 1 / 298.257223563;  // WGS84

  // Whole numbers of seven bits a byte, the sign in the lowest bit, read one after the other.
  function reader(text) {
    const bytes = atob(text);
    let at = 0;
    return {
      more: function () { return at < bytes.length; },
      next: function () {
        let value = 0, by = 1, byte;
        do {
          byte = bytes.charCodeAt(at);
          at += 1;
          value += (byte & 127) * by;
          by *= 128;
        } while (byte > 127);
        return value % 2 ? -(value + 1) / 2 : value / 2;
      },
    };
  }

  // Rings or lines in metres from the lower left corner of the map, and the box that holds them all.
  function shapeOf(text, step) {
    const read = reader(text), lines = [], box = [Infinity, Infinity, -Infinity, -Infinity];
    let x = 0, y = 0;
    while (read.more()) {
      const count = read.next(), line = new Float32Array(2 * count);
      for (let k = 0; k < count; k += 1) {
        x += read.next();
        y += read.next();
        line[2 * k] = x * step;
        line[2 * k + 1] = y * step;
        box[0] = Math.min(box[0], x * step);
        box[1] = Math.min(box[1], y * step);
        box[2] = Math.max(box[2], x * step);
        box[3] = Math.max(box[3], y * step);
      }
      lines.push(line);
    }
    return { lines: lines, box: box };
  }

  // The same outline with places left out that lie nearer than this to the one before; rings smaller than that vanish.
  function thinned(shape, near) {
    const lines = [];
    shape.lines.forEach(function (line) {
      const kept = [line[0], line[1]];
      for (let k = 2; k < line.length; k += 2) {
        const x = line[k] - kept[kept.length - 2], y = line[k + 1] - kept[kept.length - 1];
        if (x * x + y * y >= near * near) { kept.push(line[k], line[k + 1]); }
      }
      if (kept.length >= 6) { lines.push(Float32Array.from(kept)); }
    });
    return { lines: lines, box: shape.box };
  }

  // Whether a place lies within rings: an odd number of edges is crossed on the way east.
  function within(shape, x, y) {
    const box = shape.box;
    if (x < box[0] || y < box[1] || x > box[2] || y > box[3]) { return false; }
    let inside = false;
    shape.lines.forEach(function (line) {
      for (let k = 0, j = line.length - 2; k < line.length; j = k, k += 2) {
        if ((line[k + 1] > y) !== (line[j + 1] > y) &&
            x < (line[j] - line[k]) * (y - line[k + 1]) / (line[j + 1] - line[k + 1]) + line[k]) { inside = !inside; }
      }
    });
    return inside;
  }

  function toStretch(x, y, ax, ay, bx, by) {
    const dx = bx - ax, dy = by - ay, long = dx * dx + dy * dy;
    const share = long ? Math.max(0, Math.min(1, ((x - ax) * dx + (y - ay) * dy) / long)) : 0;
    return Math.hypot(x - ax - share * dx, y - ay - share * dy);
  }

  // Metres from a place to the nearest of a line of pairs.
  function toLine(x, y, line) {
    let least = Infinity;
    for (let k = 1; k < line.length; k += 1) {
      least = Math.min(least, toStretch(x, y, line[k - 1][0], line[k - 1][1], line[k][0], line[k][1]));
    }
    return least;
  }

  function toRings(x, y, shape, closed) {
    let least = Infinity;
    shape.lines.forEach(function (line) {
      for (let k = closed ? 0 : 2, j = closed ? line.length - 2 : 0; k < line.length; j = k, k += 2) {
        least = Math.min(least, toStretch(x, y, line[j], line[j + 1], line[k], line[k + 1]));
      }
    });
    return least;
  }

  // Longitude and latitude from sums of powers of the place, which were fitted when the sheet was made.
  function degreesOf(data) {
    const fit = data.lonlat, halfWide = data.wide / 2, halfHigh = data.high / 2;
    return function (x, y) {
      const u = (x - halfWide) / fit.half, v = (y - halfHigh) / fit.half;
      let lon = 0, lat = 0, at = 0, across = 1;
      for (let i = 0; i <= fit.powers; i += 1) {
        let term = across;
        for (let j = 0; j <= fit.powers - i; j += 1) {
          lon += fit.lon[at] * term;
          lat += fit.lat[at] * term;
          at += 1;
          term *= v;
        }
        across *= u;
      }
      return [lon, lat];
    };
  }

  // Distance in metres and true course at the start, between two places in degrees, by the radii of the ellipsoid midway:
  // right to a millionth of the distance over the length of a lake.
  function between(one, other) {
    const middle = (one[1] + other[1]) / 2 * Math.PI / 180, sine = Math.sin(middle);
    const e2 = FLAT * (2 - FLAT), w = 1 - e2 * sine * sine;
    const along = AXIS_M * (1 - e2) / Math.pow(w, 1.5), across = AXIS_M / Math.sqrt(w);
    const turn = (other[0] - one[0]) * Math.PI / 180;
    const east = turn * across * Math.cos(middle), north = (other[1] - one[1]) * Math.PI / 180 * along;
    const course = (Math.atan2(east, north) - turn * sine / 2) * 180 / Math.PI;
    return { distance: Math.hypot(east, north), course: (course % 360 + 360) % 360 };
  }

  function lengthOf(points) {
    let sum = 0;
    for (let k = 1; k < points.length; k += 1) { sum += Math.hypot(points[k][0] - points[k - 1][0], points[k][1] - points[k - 1][1]); }
    return sum;
  }

  function midway(points, share) {
    let left = lengthOf(points) * (share === undefined ? 0.5 : share);
    for (let k = 1; k < points.length; k += 1) {
      const dx = points[k][0] - points[k - 1][0], dy = points[k][1] - points[k - 1][1], long = Math.hypot(dx, dy);
      if (left <= long && long > 0) { return [points[k - 1][0] + dx * left / long, points[k - 1][1] + dy * left / long]; }
      left -= long;
    }
    return points.length ? points[points.length - 1] : null;
  }

  function distanceText(metres, metric) {
    const near = metres < MILE_M / 4;
    const us = near ? Math.round(metres / FOOT_M) + ' ft' : (metres / MILE_M).toFixed(2) + ' mi';
    const si = near ? Math.round(metres) + ' m' : (metres / 1000).toFixed(2) + ' km';
    return metric ? si + ' (' + us + ')' : us + ' (' + si + ')';
  }

  function courseText(degrees) { return String(Math.round(degrees) % 360).padStart(3, '0') + '° true'; }

  function minutesText(value, digits, signs) {
    const thousandths = Math.round(Math.abs(value) * 60000), whole = Math.floor(thousandths / 60000);
    const minutes = ((thousandths % 60000) / 1000).toFixed(3).padStart(6, '0');
    return String(whole).padStart(digits, '0') + '°' + minutes + "' " + signs[value < 0 ? 1 : 0];
  }

  // As it is keyed in aboard: degrees and minutes to a thousandth.
  function placeText(lonLat) { return minutesText(lonLat[1], 2, 'NS') + ' ' + minutesText(lonLat[0], 3, 'EW'); }

  function clockText(minute) {
    const days = Math.floor(minute / 1440), within_day = Math.floor(minute - 1440 * days);
    const said = String(Math.floor(within_day / 60)).padStart(2, '0') + ':' + String(within_day % 60).padStart(2, '0');
    return days ? said + ' (day ' + (days + 1) + ')' : said;
  }

  return { shapeOf, thinned, within, toLine, toRings, lengthOf, midway, degreesOf, between, distanceText, courseText, placeText, clockText };
}());
