"""The bench in the browser: a model without a view, and one view for each zone of the page.

`bench` holds the state (recorder, lesson, scope settings, moves) and knows no Panel; `readings` and `traces` turn a
played frame into numbers and small curves; `words` has every text. Each view module pairs a `view.Part` (Python)
with an ``.mjs`` file of the same name (what it draws in the page); `application` puts them together for
`bandbench.runtime`. A view never computes physics: it shows what `sim.instruments` and `sim.training` give.
"""
