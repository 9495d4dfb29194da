"""A `Letter` to a `Reading`: which language, what is asked, by whom, about whom, and the words that say so.

Pure, deterministic, explainable: each kind carries the words of the message that made it. Cues are data files, a
language each, in `cues/`.
"""
