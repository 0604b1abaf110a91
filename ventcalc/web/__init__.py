"""
One set of web parts for every page of the project: reports, the local pages, the bridge's page.

What it offers:

- ``files``: ``read("page.css")`` for a server that sends files, ``inline("page.css", ...)`` for a
  page that must stand alone; ``TYPES`` names each file with its media type:

  - ``page.css``: colours as tokens (``--ink``, ``--paper``, ``--card``, ``--line``, ``--quiet``,
    ``--accent``, ``--good``, ``--watch``, ``--bad``, lines ``--c0`` to ``--c7``), light, dark and
    paper; type; tables, card tables, cards, badges, figures. A page adds only its own layout.
  - ``plot.js``: the global ``plots``; ``plots.draw(place, spec)`` draws a ``uPlot`` with read-out
    and zoom in those colours, ``plots.all()`` draws every ``figure[data-plot]``.
  - ``uplot/...``: uPlot, unchanged, with its licence.

- ``templates``: ``render("some.package", "some.html", **values)`` fills in a template of that
  package, which may import the macros of ``web_parts.html`` here (``bullets``, ``table``, ``plot``,
  ``picture``); the only door to jinja2.
- ``chart``, ``bars``, ``strips``: ``chart`` for lines and bands over dates or numbers, ``bars``
  for lying bars of parts, ``strips`` for positions by date and hour. Each gives a ``Picture``
  (``svg``), written by the macro ``plot``: a static SVG without script and on paper, a live plot
  where it has numbers for one (``Picture.spec``, which ``plots.draw`` takes as it is).

It knows nothing of air, potatoes or storages.
"""
