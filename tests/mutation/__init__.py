"""Mutation testing: small faults put into a copy of the code; do the tests notice?"""
