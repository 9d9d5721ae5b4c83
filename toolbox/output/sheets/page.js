// The page: ties map, list, card, search, hours and tools together. All it says is put in as text, never as mark-up.
(function () {
  const byId = function (id) { return document.getElementById(id); };
  const data = JSON.parse(byId('data').textContent);
  const root = document.documentElement, canvas = byId('drawing'), pad = byId('hand');
  const degrees = places.degreesOf(data), clock = data.clock;
  const items = new Map();
  document.querySelectorAll('.item').forEach(function (item) { items.set(item.dataset.key, item); });
  const all = data.stops.concat(data.legs, data.things);
  let colours = {}, measuring = false, minute = clock.begin;
  let following = true;  // whether the card goes with the hour: until something else is chosen

  function make(name, text, look) {
    const one = document.createElement(name);
    if (text !== undefined) { one.textContent = text; }
    if (look) { one.className = look; }
    return one;
  }

  function button(text, does) {
    const one = make('button', text);
    one.type = 'button';
    one.addEventListener('click', does);
    return one;
  }

  root.classList.add('scripted');
  document.querySelectorAll('.needs-script').forEach(function (one) { one.hidden = one.id === 'card'; });
  document.querySelector('.work').classList.add('beside');

  function colourOf(name) {
    if (!(name in colours)) { colours[name] = getComputedStyle(root).getPropertyValue('--' + name).trim() || '#888888'; }
    return colours[name];
  }
  const chart = charts.make(canvas, data, colourOf), day = hours.make(data, colourOf);

  // what lies where

  function titleOf(thing) {
    if (thing.pieces) { return 'Leg ' + thing.number + ': ' + thing.name; }
    if (thing.number) { return (thing.ramp ? 'Ramp ' : 'Stop ') + thing.number + ': ' + thing.name; }
    return thing.name === thing.kind ? thing.name.charAt(0).toUpperCase() + thing.name.slice(1) : thing.name + ' (' + thing.kind + ')';
  }

  // Everything within reach of a point of the window, the most telling first.
  function thingsAt(px, py, reach) {
    const at = chart.under(px, py), near = reach / chart.view.scale, found = [];
    const offer = function (thing, away, rank) { found.push({ thing: thing, order: rank + Math.min(away / near, 1) * 0.9 }); };
    const apart = function (one) { return Math.hypot(one[0] - at[0], one[1] - at[1]); };
    if (chart.shown.stops) {
      data.stops.forEach(function (stop) {
        const away = Math.min(apart(stop.at), stop.spot ? apart(stop.spot) : Infinity, stop.cast ? places.toLine(at[0], at[1], stop.cast) : Infinity);
        if (away <= near) { offer(stop, away, 0); }
      });
    }
    data.things.forEach(function (thing) {
      if (thing.role === 'spots' ? !chart.shown.spots : thing.role === 'zones' ? !chart.shown.zones : false) { return; }
      const keep_out = thing.role === 'shallow_hazards' || thing.role === 'known_hazards';
      if (!thing.drawn) {
        if (apart(thing.at) <= near) { offer(thing, apart(thing.at), keep_out ? 1 : 2); }
      } else if (thing.area && places.within(thing.drawn.shape, at[0], at[1])) {
        offer(thing, 0, keep_out ? 4 : 5);
      } else if (!thing.area && places.toRings(at[0], at[1], thing.drawn.shape, false) <= near) {
        offer(thing, 0, keep_out ? 1 : 5);
      }
    });
    if (chart.shown.run) {
      data.legs.forEach(function (leg) {
        const away = Math.min.apply(null, leg.pieces.map(function (piece) { return places.toLine(at[0], at[1], piece.line); }));
        if (away <= near) { offer(leg, away, 3); }
      });
    }
    return found.sort(function (one, other) { return one.order - other.order; }).map(function (one) { return one.thing; });
  }

  function waterWords(at) {
    if (!data.water.length) { return 'What lies here is not known.'; }
    if (!chart.wet(at[0], at[1])) { return 'Land, or ground that is dry today.'; }
    const band = chart.bandAt(at[0], at[1]);
    return band < 0 ? 'Water; no depth is known here.' : data.bands[band].words[0];
  }

  // the card

  const card = byId('card');

  function copied(text, teller) {
    const say = function (done) { teller.textContent = done ? 'Copied' : 'Copy by hand: ' + text; };
    const byHand = function () {
      const field = make('textarea', text);
      card.append(field);
      field.select();
      say(document.execCommand('copy'));
      field.remove();
    };
    if (navigator.clipboard && window.isSecureContext) {
      navigator.clipboard.writeText(text).then(function () { say(true); }, byHand);
    } else { byHand(); }
  }

  function placeRow(lonLat) {
    const row = make('div', undefined, 'row'), plain = lonLat[1].toFixed(6) + ', ' + lonLat[0].toFixed(6);
    const link = make('a', 'Open in a map');
    link.href = 'geo:' + lonLat[1].toFixed(6) + ',' + lonLat[0].toFixed(6);
    const copy = function (text, words) {
      const one = button(words, function () { copied(text, one); });
      return one;
    };
    row.append(make('span', places.placeText(lonLat), 'quiet'), copy(plain, 'Copy degrees'), copy(places.placeText(lonLat), 'Copy minutes'), link);
    return row;
  }

  function fillCard(title, parts, lonLat, others) {
    card.textContent = '';
    const close = button('×', function () { choose(null); });
    close.className = 'close';
    close.setAttribute('aria-label', 'Close the card');
    card.append(make('h2', title), close);
    parts.forEach(function (part) { card.append(part); });
    if (lonLat) { card.append(placeRow(lonLat)); }
    if (others.length) {
      const row = make('div', undefined, 'row');
      row.append(make('span', 'Also here:', 'quiet'));
      others.slice(0, 5).forEach(function (thing) { row.append(button(titleOf(thing), function () { choose(thing, []); })); });
      card.append(row);
    }
    card.hidden = false;
  }

  function cardOf(thing, others) {
    const item = items.get(thing.key), parts = [];
    if (item) {
      const body = item.querySelector('.body').cloneNode(true);
      body.querySelectorAll('.place').forEach(function (one) { one.parentNode.remove(); });
      const holder = make('div', undefined, item.classList.contains('leg') ? 'leg' : 'stop');
      holder.append(body);
      parts.push(holder);
      const when = item.querySelector('.when').textContent, told = hourWords(thing);
      if (told) { parts.unshift(make('p', told)); }
      if (when) { parts.unshift(make('p', when, 'times')); }
    } else {
      parts.push.apply(parts, thing.words.map(function (text) { return make('p', text); }));
      if (thing.role === 'spots') { parts.push(make('p', waterWords(thing.at), 'quiet')); }
    }
    fillCard(titleOf(thing), parts, thing.pieces ? null : degrees(thing.at[0], thing.at[1]), others || []);
  }

  // On a narrow screen the card stands right under the map, on a wide one beside it.
  const narrow = window.matchMedia('(max-width: 59.99rem)');
  function seat() {
    if (narrow.matches) { (byId('hours') || byId('map')).after(card); } else { document.querySelector('.tools').after(card); }
  }
  seat();
  narrow.addEventListener('change', seat);

  function light(key, name) {
    document.querySelectorAll('.item.' + name).forEach(function (one) { one.classList.remove(name); });
    const item = key && items.get(key);
    if (item) { item.classList.add(name); }
    return item;
  }

  // Chooses a thing, or nothing: the map marks it, the list shows it, its card opens. `look` brings it into the window.
  function choose(thing, others, look) {
    following = false;
    chart.chosen = thing;
    const item = light(thing && thing.key, 'lit'), side = document.querySelector('.side');
    if (!thing) {
      card.hidden = true;
      chart.redraw();
      return;
    }
    cardOf(thing, others);
    if (side.scrollHeight > side.clientHeight + 4) { side.scrollTop = 0; }
    if (item) { item.setAttribute('aria-current', 'true'); }
    items.forEach(function (one) { if (one !== item) { one.removeAttribute('aria-current'); } });
    if (look) {
      const points = thing.pieces ? thing.pieces.reduce(function (sum, piece) { return sum.concat(piece.line); }, []) : [thing.at].concat(thing.cast || []);
      hand.show(points, thing.pieces ? 3 : 1.6);
    }
    chart.redraw();
  }

  // the map and the hand on it

  const tip = byId('tip'), measured = byId('measured');

  function tellMeasured() {
    const points = chart.measured;
    measured.hidden = !measuring;
    if (points.length < 2) {
      measured.textContent = points.length ? 'Tap the next place.' : 'Tap a place to measure from.';
      return;
    }
    let sum = 0, last = null;
    for (let k = 1; k < points.length; k += 1) {
      last = places.between(degrees(points[k - 1][0], points[k - 1][1]), degrees(points[k][0], points[k][1]));
      sum += last.distance;
    }
    measured.textContent = places.distanceText(last.distance, data.metric) + ' on ' + places.courseText(last.course) +
      (points.length > 2 ? '; in all ' + places.distanceText(sum, data.metric) : '');
  }

  function say(px, py) {
    const things = px === null ? [] : thingsAt(px, py, 9);
    const thing = things[0] || null;
    chart.pointed = thing;
    light(thing && thing.key, 'lit');
    if (!thing && chart.chosen) { light(chart.chosen.key, 'lit'); }
    tip.hidden = px === null;
    if (px !== null) {
      const stop = thing && items.get(thing.key);
      tip.textContent = '';
      tip.append(make('b', thing ? titleOf(thing) : waterWords(chart.under(px, py))));
      if (thing) {
        const facts = stop ? Array.from(stop.querySelectorAll('dl div')).slice(0, 4).map(function (one) { return one.children[0].textContent + ': ' + one.children[1].textContent; }) : thing.words.slice(0, 2);
        facts.forEach(function (text) { tip.append(make('div', text)); });
      }
      const right = px > chart.wide / 2, low = py > chart.high / 2;
      tip.style.left = right ? '' : px + 16 + 'px';
      tip.style.right = right ? chart.wide - px + 16 + 'px' : '';
      tip.style.top = low ? '' : py + 12 + 'px';
      tip.style.bottom = low ? chart.high - py + 12 + 'px' : '';
    }
    chart.redraw();
  }

  const hand = hands.lead(chart, pad, data, {
    moved: function () { chart.redraw(); },
    pointed: say,
    left: function () {
      if (measuring) { byId('measure').click(); } else { choose(null); }
    },
    tapped: function (px, py, reach) {
      const at = chart.under(px, py);
      tip.hidden = true;
      if (measuring) {
        chart.measured.push(at);
        tellMeasured();
        chart.redraw();
        return;
      }
      const things = thingsAt(px, py, reach);
      if (things.length) { choose(things[0], things.slice(1)); return; }
      choose(null);
      fillCard('This place', [make('p', waterWords(at))], degrees(at[0], at[1]), []);
      chart.chosen = { at: at };
    },
  });

  byId('nearer').addEventListener('click', function () { hand.zoom(1.6); });
  byId('farther').addEventListener('click', function () { hand.zoom(1 / 1.6); });
  byId('whole').addEventListener('click', hand.whole);

  // layers

  document.querySelectorAll('.layers input').forEach(function (box) {
    box.addEventListener('change', function () {
      chart.shown[box.value] = box.checked;
      document.querySelector('.key').classList.toggle('no-depths', !chart.shown.depths);
      warn();
      chart.redraw(true);
    });
  });
  byId('hazards').addEventListener('change', function (event) {
    chart.shown.hazards = event.target.value;
    warn();
    chart.redraw(true);
  });

  function warn() {
    const gone = [];
    if (chart.shown.hazards === 'none') { gone.push('what to keep out of is hidden'); }
    if (!chart.shown.zones) { gone.push('zones are hidden'); }
    if (!chart.shown.dry) { gone.push('dry ground is hidden'); }
    const warning = byId('hidden-warning'), text = gone.join('; ');
    warning.hidden = !gone.length;
    warning.textContent = text ? text.charAt(0).toUpperCase() + text.slice(1) + ': water that looks open may not be.' : '';
  }

  // the list

  items.forEach(function (item, key) {
    const thing = all.find(function (one) { return one.key === key; });
    const summary = item.querySelector('summary');
    if (!thing) { return; }
    summary.addEventListener('click', function () { if (!item.open) { choose(thing, [], true); } });
    ['pointerenter', 'focus'].forEach(function (what) {
      summary.addEventListener(what, function () {
        chart.pointed = thing;
        chart.redraw();
      });
    });
    ['pointerleave', 'blur'].forEach(function (what) {
      summary.addEventListener(what, function () {
        chart.pointed = null;
        chart.redraw();
      });
    });
    const place = item.querySelector('.place');
    if (place) {
      const copy = button('Copy', function () { copied(place.dataset.place.replace(',', ', '), copy); });
      place.append(' ', copy);
    }
  });

  // search

  const MOST_FOUND = 30, find = byId('find'), found = byId('found');
  const plain = function (text) { return text.toLowerCase().normalize('NFKD').replace(/[\u0300-\u036f]/g, ''); };
  const searched = all.map(function (thing) { return plain(titleOf(thing) + ' ' + thing.kind + ' ' + (thing.key.split(':')[0])); });
  find.addEventListener('input', function () {
    const words = plain(find.value).split(/\s+/).filter(Boolean);
    const hits = words.length ? all.filter(function (thing, k) { return words.every(function (word) { return searched[k].includes(word); }); }) : [];
    found.textContent = '';
    byId('found-count').textContent = !words.length ? '' : hits.length > MOST_FOUND ? hits.length + ' found, the first ' + MOST_FOUND + ' shown' : hits.length + ' found';
    hits.slice(0, MOST_FOUND).forEach(function (thing) {
      const line = make('li');
      line.append(button(titleOf(thing), function () { choose(thing, [], true); }));
      found.append(line);
    });
  });

  // hours

  function hourWords(thing) {
    const hour = clock.times && thing.number && !thing.pieces ? day.hourOf(minute) : null, here = hour && hour[thing.place];
    if (!here) { return ''; }
    return 'At ' + places.clockText(minute) + ': ' + [here.weather, here.fish === undefined ? '' : here.fish ? 'can be fished' : 'not to be fished: ' + here.why].filter(Boolean).join('; ') + '.';
  }

  function showHour() {
    const now = day.plannedAt(minute), hour = day.hourOf(minute), said = [];
    chart.boat = now && now.at;
    const stop = now && (now.stop || now.next);
    said.push(places.clockText(minute) + (now ? now.stop ? ', planned at ' + titleOf(now.stop) : ', planned on leg ' + (now.leg ? now.leg.number : '') + ' to ' + now.next.name : ', before or after the run') + '.');
    const here = hour && stop && hour[stop.place], told = here && here.weather, weather = told || (stop && stop.weather);
    if (weather) { said.push((now.stop ? 'There ' : 'At the next stop ') + weather + (told ? '' : ', one forecast for the day') + '.'); }
    if (here && here.fish !== undefined) { said.push(here.fish ? 'It can be fished.' : 'Not to be fished: ' + here.why + '.'); }
    byId('at-hour').textContent = said.join(' ');
    byId('hour').setAttribute('aria-valuetext', said[0]);
    data.stops.forEach(function (one) {
      const item = items.get(one.key), told = hour && hour[one.place];
      if (item) { item.classList.toggle('shut', Boolean(told && told.fish === false)); }
    });
    day.drawStrip(byId('strip'), minute);
    chart.redraw();
  }

  // Shows the card of the stop the boat is planned at, or goes to.
  function follow() {
    const now = clock.times ? day.plannedAt(minute) : null, at = now && now.stop, ahead = data.stops.filter(function (stop) { return !stop.ramp; });
    let stop = now && (at || now.next);
    if (!stop || (at && at === data.stops[0])) { stop = ahead[0]; }
    if (!stop) { return; }
    cardOf(stop, []);
    card.querySelector('h2').textContent = (at === stop ? 'Now: ' : 'Next: ') + titleOf(stop);
  }

  if (clock.times) {
    const slider = byId('hour');
    slider.min = clock.begin;
    slider.max = clock.end;
    const first = clock.times.find(function (pair) { return pair[1] !== null; });
    minute = first ? Math.ceil(first[1]) : clock.begin;
    // on the day itself the page opens at the hour it is, by the lake's clock
    const now = (Date.now() - Date.parse(clock.date + 'T00:00:00Z')) / 60000 + clock.offset;
    if (now >= clock.begin && now <= clock.end) { minute = Math.floor(now); }
    slider.value = minute;
    slider.addEventListener('input', function () {
      minute = Number(slider.value);
      showHour();
      if (following) { follow(); } else if (chart.chosen && chart.chosen.key && !card.hidden) { cardOf(chart.chosen, []); }
    });
  }

  // tools

  byId('measure').addEventListener('click', function (event) {
    measuring = !measuring;
    event.currentTarget.setAttribute('aria-pressed', String(measuring));
    byId('map').classList.toggle('measuring', measuring);
    chart.measured = [];
    tellMeasured();
    chart.redraw();
  });
  const dusk = window.matchMedia('(prefers-color-scheme: dark)');
  function isDark() { return root.dataset.look ? root.dataset.look === 'dark' : dusk.matches; }
  function recolour() {
    colours = {};
    byId('look').setAttribute('aria-pressed', String(isDark()));
    chart.recolour();
    if (clock.times) { day.drawStrip(byId('strip'), minute); }
  }
  byId('look').addEventListener('click', function () {
    root.dataset.look = isDark() ? 'light' : 'dark';
    recolour();
  });
  dusk.addEventListener('change', recolour);

  // All is printed, folded or not; afterwards what was folded is folded again.
  let folded = [];
  window.addEventListener('beforeprint', function () {
    folded = Array.from(document.querySelectorAll('details:not([open])'));
    folded.forEach(function (one) { one.open = true; });
  });
  window.addEventListener('afterprint', function () { folded.forEach(function (one) { one.open = false; }); });
  byId('print').addEventListener('click', function () { window.print(); });

  // first picture

  chart.resize();
  hand.whole();
  byId('look').setAttribute('aria-pressed', String(isDark()));
  if (clock.times) { showHour(); }
  chart.drawNow();
  new ResizeObserver(function () {
    chart.resize();
    hand.keepIn();
    chart.redraw();
    if (clock.times) { day.drawStrip(byId('strip'), minute); }
  }).observe(canvas);
  follow();
  // for whoever measures how long a redraw takes
  canvas.dataset.ready = 'true';
}());
