"""The Python side of the worker: Panel's document, the moving picture, messages to and from the page.

`first` shows a picture before the rest is there; `application` says what a bench must offer; `loop` keeps the picture
moving; `panel_glue` holds every use of Panel's semi-private functions; `posting` sends messages; `worker` ties them to
the browser.
"""
