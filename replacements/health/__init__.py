"""How the whole service is doing: what is measured, how it is judged, how it is told to people and to machines."""
