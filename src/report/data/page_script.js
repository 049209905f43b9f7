(function () {
  'use strict';
  var doc = document;
  function all(selector, within) {
    return Array.prototype.slice.call((within || doc).querySelectorAll(selector));
  }
  function element(name, text) {
    var made = doc.createElement(name);
    if (text !== undefined) made.textContent = text;
    return made;
  }

  // The map: one view of the zones at a time.
  var data = doc.getElementById('views');
  var map = doc.querySelector('svg.map.main');
  if (data && map) {
    var views = JSON.parse(data.textContent);
    var legend = doc.getElementById('legend');
    var facts = doc.getElementById('facts');
    var zones = all('.zone', map);
    var marks = all('.mark', map);
    var view = views[0];
    var current = null;

    var swatch = function (fill) {
      var space = map.namespaceURI;
      var svg = doc.createElementNS(space, 'svg');
      var rect = doc.createElementNS(space, 'rect');
      svg.setAttribute('class', 'swatch');
      svg.setAttribute('viewBox', '0 0 16 16');
      svg.setAttribute('aria-hidden', 'true');
      rect.setAttribute('width', '16');
      rect.setAttribute('height', '16');
      rect.setAttribute('fill', fill);
      svg.appendChild(rect);
      return svg;
    };
    var words = function (index, one) {
      return 'Zone ' + (index + 1) + ', ' + one.title + ': ' + one.text[index];
    };
    var showFacts = function () {
      if (current === null) return;
      facts.textContent = '';
      var head = element('h3', 'Zone ' + (current + 1));
      var list = element('dl');
      views.forEach(function (one) {
        if (one.id === 'zones') return;
        var name = element('dt', one.title);
        var value = element('dd', one.text[current]);
        value.dataset.view = one.id;
        if (one === view) name.className = value.className = 'now';
        list.appendChild(name);
        list.appendChild(value);
      });
      facts.appendChild(head);
      facts.appendChild(list);
    };
    var show = function (id) {
      view = views.filter(function (one) { return one.id === id; })[0] || views[0];
      zones.forEach(function (zone, index) {
        zone.setAttribute('fill', view.fill[index]);
        zone.setAttribute('aria-label', words(index, view));
        zone.querySelector('title').textContent = words(index, view);
      });
      map.setAttribute('aria-label', 'Map of the zones: ' + view.title);
      doc.getElementById('legend-title').textContent = view.title + (view.unit ? ', ' + view.unit : '');
      legend.textContent = '';
      view.legend.forEach(function (entry) {
        var item = element('li');
        item.appendChild(swatch(entry[0]));
        item.appendChild(element('span', entry[1]));
        legend.appendChild(item);
      });
      showFacts();
    };
    var point = function (index) {
      current = index;
      marks.forEach(function (mark) { mark.setAttribute('d', zones[index].getAttribute('d')); });
      zones.forEach(function (zone, other) { zone.setAttribute('tabindex', other === index ? '0' : '-1'); });
      all('tr[data-zone]').forEach(function (row) {
        row.classList.toggle('on', row.dataset.zone === String(index + 1));
      });
      showFacts();
    };
    zones.forEach(function (zone, index) {
      zone.setAttribute('tabindex', index === 0 ? '0' : '-1');
      ['mouseenter', 'focus', 'click'].forEach(function (event) {
        zone.addEventListener(event, function () { point(index); });
      });
      zone.addEventListener('keydown', function (event) {
        var step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
        if (!step) return;
        event.preventDefault();
        zones[(index + step + zones.length) % zones.length].focus();
      });
    });
    all('tr[data-zone]').forEach(function (row) {
      row.addEventListener('mouseenter', function () { point(Number(row.dataset.zone) - 1); });
    });
    all('input[name=view]').forEach(function (button) {
      button.addEventListener('change', function () { show(button.value); });
      if (button.checked) view = { id: button.value };
    });
    // A browser may bring back the choice of an earlier visit.
    show(view.id);
  }

  // Tables: sort by a column, copy as tab-separated text.
  var number = /^[-+]?\d+(\.\d+)?/;
  function key(cell) {
    var text = cell ? (cell.dataset.sort || cell.textContent).trim() : '';
    var found = number.exec(text);
    return found && !/^\d{4}-\d\d-\d\d/.test(text) ? parseFloat(found[0]) : text;
  }
  function compare(a, b) {
    if (typeof a === 'number' && typeof b === 'number') return a - b;
    if (typeof a === 'number') return -1;
    if (typeof b === 'number') return 1;
    return a.localeCompare(b);
  }
  function cellText(cell) {
    var copy = cell.cloneNode(true);
    all('.how,details ul,.unseen', copy).forEach(function (part) { part.remove(); });
    var text = copy.textContent.replace(/\s+/g, ' ').trim();
    // A text that a spreadsheet would take for a formula stays text.
    return /^[=+@-]/.test(text) && isNaN(Number(text)) ? "'" + text : text;
  }
  function copyText(text) {
    var old = function () {
      var area = element('textarea');
      area.value = text;
      doc.body.appendChild(area);
      area.select();
      var done = doc.execCommand('copy');
      area.remove();
      return done;
    };
    if (!navigator.clipboard) return Promise.resolve(old());
    return navigator.clipboard.writeText(text).then(function () { return true; }, old);
  }
  all('table').forEach(function (table) {
    var body = table.tBodies[0];
    if (!body || !table.tHead) return;
    if (body.rows.length > 1) {
      all('thead th', table).forEach(function (head, column) {
        var how = head.querySelector('.how');
        if (how) how.remove();
        var button = element('button', head.textContent.trim());
        button.type = 'button';
        button.title = 'Sort';
        head.textContent = '';
        head.appendChild(button);
        if (how) { head.appendChild(doc.createTextNode(' ')); head.appendChild(how); }
        button.addEventListener('click', function () {
          var up = head.getAttribute('aria-sort') !== 'ascending';
          all('thead th', table).forEach(function (other) { other.removeAttribute('aria-sort'); });
          head.setAttribute('aria-sort', up ? 'ascending' : 'descending');
          Array.prototype.slice.call(body.rows).map(function (row) {
            return { row: row, key: key(row.cells[column]) };
          }).sort(function (a, b) {
            var words = typeof a.key !== typeof b.key;
            return words || up ? compare(a.key, b.key) : -compare(a.key, b.key);
          }).forEach(function (entry) { body.appendChild(entry.row); });
        });
      });
    }
    var tools = table.closest('.table') && table.closest('.table').querySelector('.tools');
    if (!tools) return;
    var button = element('button', 'Copy table');
    var said = element('span');
    button.type = 'button';
    said.setAttribute('role', 'status');
    button.addEventListener('click', function () {
      var lines = Array.prototype.slice.call(table.rows).filter(function (row) { return !row.hidden; })
        .map(function (row) { return Array.prototype.map.call(row.cells, cellText).join('\t'); });
      copyText(lines.join('\r\n') + '\r\n').then(function (done) {
        said.textContent = done ? 'Copied. Paste it into a spreadsheet.' : 'The browser did not allow copying: select the table instead.';
      });
    });
    tools.appendChild(button);
    tools.appendChild(said);
  });

  // Long lists of fields: find by name.
  var find = doc.getElementById('find');
  if (find) {
    find.closest('.find').hidden = false;
    find.addEventListener('input', function () {
      var wanted = find.value.trim().toLowerCase();
      var left = 0;
      all('table.findable tbody tr').forEach(function (row) {
        row.hidden = wanted !== '' && row.cells[0].textContent.toLowerCase().indexOf(wanted) < 0;
        if (!row.hidden) left += 1;
      });
      doc.getElementById('found').textContent = wanted === '' ? '' : left + ' found';
    });
  }

  // Workings open when a link leads to them, and all at once for paper.
  function reveal() {
    var target = null;
    try { target = doc.getElementById(decodeURIComponent(location.hash.slice(1))); } catch (error) { return; }
    for (var at = target; at; at = at.parentElement) if (at.tagName === 'DETAILS') at.open = true;
    if (target) target.scrollIntoView();
  }
  window.addEventListener('hashchange', reveal);
  if (location.hash) reveal();
  var open = doc.getElementById('open-all');
  if (open) {
    open.hidden = false;
    open.addEventListener('click', function () {
      var opening = open.getAttribute('aria-pressed') !== 'true';
      open.setAttribute('aria-pressed', String(opening));
      all('details').forEach(function (part) { part.open = opening; });
    });
  }
})();
