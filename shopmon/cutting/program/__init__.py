"""NC programs (ISO 6983, RS-274): words, modal state, moves, drilling cycles, subprograms, times, sections.

Lines in, sections out; nothing here opens a file. What a code means follows the report on the RS274/NGC
interpreter (Kramer, Proctor, Messina, NISTIR 6556, 2000, public; from memory), and where common controls
differ, that is said.
"""
