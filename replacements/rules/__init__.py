"""The office's rules: `office.toml` to `Rules`, business days, deadlines, the chance of being back in time.

Pure: text in, data out, time passed in. Every legal rule is the office's own parameter.
"""
