"""Logged cuts: told as data, judged by a person, heard again, laid beside one another."""
