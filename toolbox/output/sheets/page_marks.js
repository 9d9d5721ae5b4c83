// Strokes of the drawing: lines, marks and names on a canvas, where the view has them.
const marks = (function () {
  const BOAT = [[0, -9], [5, -2.4], [5, 7], [-5, 7], [-5, -2.4]], SLOPE = [[-8, 6], [8, 6], [8, -7]];

  function make(pen, chart, colourOf) {
    function on(x, y) {
      const view = chart.view;
      return [(x - view.x) * view.scale + chart.wide / 2, chart.high / 2 - (y - view.y) * view.scale];
    }

    function line(points, style, size, dashes) {
      pen.strokeStyle = style;
      pen.lineWidth = size;
      pen.setLineDash(dashes || []);
      pen.beginPath();
      points.forEach(function (point, k) {
        const at = on(point[0], point[1]);
        if (k) { pen.lineTo(at[0], at[1]); } else { pen.moveTo(at[0], at[1]); }
      });
      pen.stroke();
      pen.setLineDash([]);
    }

    function polygon(at, form, fill, edge, size) {
      pen.beginPath();
      form.forEach(function (point, k) {
        if (k) { pen.lineTo(at[0] + point[0], at[1] + point[1]); } else { pen.moveTo(at[0] + point[0], at[1] + point[1]); }
      });
      pen.closePath();
      pen.lineWidth = 2 * size;
      pen.strokeStyle = edge;
      pen.stroke();
      pen.fillStyle = fill;
      pen.fill();
    }

    function ring(at, radius, fill, edge, size) {
      pen.beginPath();
      pen.arc(at[0], at[1], radius, 0, 2 * Math.PI);
      pen.fillStyle = fill;
      pen.fill();
      pen.lineWidth = size;
      pen.strokeStyle = edge;
      pen.stroke();
    }

    function strokes(at, size, style) {
      [[colourOf('casing'), 4], [style, 1.7]].forEach(function (look) {
        pen.strokeStyle = look[0];
        pen.lineWidth = look[1];
        pen.beginPath();
        pen.moveTo(at[0] - size, at[1] - size);
        pen.lineTo(at[0] + size, at[1] + size);
        pen.moveTo(at[0] - size, at[1] + size);
        pen.lineTo(at[0] + size, at[1] - size);
        pen.stroke();
      });
    }

    // Puts names and numbers where nothing stands yet, those asked for first having the choice.
    function namer(marks) {
      const taken = marks.map(function (at) { return [at[0] - 7, at[1] - 7, at[0] + 7, at[1] + 7]; });
      const free = function (box) {
        return taken.every(function (one) { return box[0] > one[2] || box[2] < one[0] || box[1] > one[3] || box[3] < one[1]; });
      };
      // what stands in the window's corners: no name of something in sight goes below it, or over the edge
      taken.push([0, 0, 120, 56], [chart.wide - 60, 0, chart.wide, 64], [0, chart.high - 56, 150, chart.high], [chart.wide - 130, chart.high - 45, chart.wide, chart.high]);
      const put = function (at, forms, bold, ground_colour, ink) {
        pen.font = (bold ? '600 ' : '') + '12.5px system-ui, sans-serif';
        const seen = at[0] > 0 && at[1] > 0 && at[0] < chart.wide && at[1] < chart.high;
        for (const form of forms) {
          const wide = pen.measureText(form).width + 8, high = 18;
          const tries = [[10, -high / 2], [-10 - wide, -high / 2], [-wide / 2, -high - 9], [-wide / 2, 9], [8, -high - 6], [8, 6], [-wide - 8, 6], [-wide - 8, -high - 6]];
          for (const one of tries) {
            const box = [at[0] + one[0], at[1] + one[1], at[0] + one[0] + wide, at[1] + one[1] + high];
            const inside = box[0] >= 2 && box[1] >= 2 && box[2] <= chart.wide - 2 && box[3] <= chart.high - 2;
            if ((inside || !seen) && free(box)) {
              taken.push(box);
              pen.fillStyle = ground_colour;
              pen.globalAlpha = 0.9;
              pen.fillRect(box[0], box[1], wide, high);
              pen.globalAlpha = 1;
              pen.fillStyle = ink;
              pen.fillText(form, box[0] + 4, box[1] + 13.5);
              return;
            }
          }
        }
      };
      return put;
    }

    // Scale, north, what is measured, and the cross of the keyboard.
    function drawTools(metric, north_deg) {
      const ink = colourOf('ink'), casing = colourOf('casing'), units = metric ? [[1, 'm'], [0.3048, 'ft']] : [[0.3048, 'ft'], [1, 'm']];
      pen.font = '12px system-ui, sans-serif';
      units.forEach(function (unit, k) {
        const most = 90 / chart.view.scale / unit[0], power = Math.pow(10, Math.floor(Math.log10(most)));
        const size = [5, 2, 1].map(function (one) { return one * power; }).find(function (one) { return one <= most; }) || power;
        const wide = size * unit[0] * chart.view.scale, y = chart.high - 10 - 17 * k, x = chart.wide - 60;
        pen.fillStyle = casing;
        pen.fillRect(x - wide - 2, y - 5, wide + 4, 7);
        pen.fillStyle = ink;
        pen.fillRect(x - wide, y - 3, wide, 3);
        pen.strokeStyle = casing;
        pen.lineWidth = 3;
        pen.strokeText(size + ' ' + unit[1], x + 5, y + 1);
        pen.fillText(size + ' ' + unit[1], x + 5, y + 1);
      });
      const turn = -north_deg * Math.PI / 180, at = [chart.wide - 30, 26];
      pen.save();
      pen.translate(at[0], at[1]);
      pen.rotate(turn);
      polygon([0, 0], [[0, -15], [5.5, 8], [0, 4], [-5.5, 8]], ink, casing, 1.5);
      pen.restore();
      pen.strokeText('N', at[0] - 4, at[1] + 22);
      pen.fillText('N', at[0] - 4, at[1] + 22);
      if (chart.measured.length) {
        line(chart.measured, casing, 5);
        line(chart.measured, colourOf('mark'), 2.5, [7, 4]);
        chart.measured.forEach(function (point) { ring(on(point[0], point[1]), 4, colourOf('paper'), colourOf('mark'), 2); });
      }
      if (chart.cross) {
        const x = chart.wide / 2, y = chart.high / 2;
        [[casing, 4], [ink, 1.5]].forEach(function (look) {
          pen.strokeStyle = look[0];
          pen.lineWidth = look[1];
          pen.beginPath();
          [[-14, 0, -4, 0], [4, 0, 14, 0], [0, -14, 0, -4], [0, 4, 0, 14]].forEach(function (part) {
            pen.moveTo(x + part[0], y + part[1]);
            pen.lineTo(x + part[2], y + part[3]);
          });
          pen.stroke();
        });
      }
    }

    return { on, line, polygon, ring, strokes, namer, drawTools };
  }

  return { make, BOAT, SLOPE };
}());
