"""Weighs what a recording holds before any value is given: what sounds, and is it what was said?"""
