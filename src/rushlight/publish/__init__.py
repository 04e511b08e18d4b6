"""Publishing a rig: page, drawings, data and checks, by which others rebuild it."""
