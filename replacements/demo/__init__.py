"""An invented county, so that everything can be tried before anything is real."""
