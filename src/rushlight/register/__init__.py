"""Camera to display: held touches in footage, the map that they tell, and whether to trust it."""
