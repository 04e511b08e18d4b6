"""Camera, lens and plane geometry: where a light appears, and how well that is known.

Every function broadcasts over leading axes as numpy does; only the last axes named in a
docstring are fixed. A batch of R cameras looking at G points therefore wants
``rig_from_camera[:, None]`` of shape (R, 1, 4, 4) beside points of shape (G, 3).

What cannot be seen, mapped or inverted comes back as NaN, never as a plausible number.
"""
