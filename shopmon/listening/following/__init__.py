"""Follows an NC program by ear: which section is being cut, from spindle speed, stops and engagements.

Nothing here opens a file or knows a clock; times are seconds of the stream.
"""
