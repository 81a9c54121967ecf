"""The whole job on a study: reports and the command line."""
