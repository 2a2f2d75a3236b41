"""The job: one table for each table of the job file, whose fields are the plan."""
