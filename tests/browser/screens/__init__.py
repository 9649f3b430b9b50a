"""Pictures of every screen, to look at, and what each is held to: ``python3 bb.py screens``.

`camera` takes the pictures, `judging` and `keyboard` say what is wrong with a screen, the tours in `opening`,
`working`, `learning` and `teaching` go to every screen, `__main__` runs them and writes the table.
"""
