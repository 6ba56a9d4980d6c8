"""A logger's file: found out how it is written, and read by a form that somebody confirmed.

`finding.find_form` looks at the bytes and says what it found and what it is not sure of; `reading.read_all` reads a
whole file by a form, fast, and lists every faulty cell. Nothing here knows channels or a database.
"""
