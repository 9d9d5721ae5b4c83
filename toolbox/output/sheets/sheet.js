(function () {
  'use strict';
  var facts = document.getElementById('facts');
  function show(key) {
    var row = document.getElementById('stop-' + key);
    document.querySelectorAll('tr.lit').forEach(function (one) { one.classList.remove('lit'); });
    if (!row) { return; }
    row.classList.add('lit');
    facts.textContent = row.getAttribute('data-facts');
  }
  document.querySelectorAll('button.spot').forEach(function (spot) {
    ['mouseenter', 'focus', 'click'].forEach(function (what) {
      spot.addEventListener(what, function () { show(spot.getAttribute('data-stop')); });
    });
  });
  document.querySelectorAll('.switches input').forEach(function (box) {
    box.addEventListener('change', function () {
      document.querySelectorAll('[id^="map-layer-' + box.value + '"]').forEach(function (part) {
        part.style.display = box.checked ? '' : 'none';
      });
    });
  });
  document.querySelectorAll('.needs-script').forEach(function (one) { one.hidden = false; });
}());
