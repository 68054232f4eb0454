#!/bin/bash
# run.sh BIN args... -> prints status, seconds, MiB
ulimit -v 3145728
timeout 60 /usr/bin/time -f "%e s %U user %M KiB rc=%x" -o /tmp/b/time.txt taskset -c 0 "$@" >/tmp/b/out.txt 2>/tmp/b/err.txt
echo "rc=$? $(cat /tmp/b/time.txt|tail -1)"
head -c 600 /tmp/b/err.txt
