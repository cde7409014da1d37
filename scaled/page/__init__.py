"""The page and its HTTP contract: `app` puts the application together by its `options`, `server` serves it.

`guard` says who may ask, `body` reads what is sent, `views_look` and `views_act` share a `page` and give an `answer`,
`problem` tells errors;
`status` is the document that is shown, `stream` sends it to every viewer and `full` turns away who finds no place;
`wire` is what waitress does otherwise for this. `schemas` and `openapi` describe it all, `metrics` counts, `assets` are
the page's own files.
"""
