"""Surveys: what a drawing holds and which layers may play which role, before a job is written."""
