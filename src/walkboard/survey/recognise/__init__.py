"""Checks what a recording contains before any value is given: is it what was stated?"""
