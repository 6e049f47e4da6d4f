"""Situations in the trade's words: what a machine was, what happened to it, what bootwatch says of it."""
