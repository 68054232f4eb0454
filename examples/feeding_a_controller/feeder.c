/* Feed the rows of one pass to a controller: read the header, check the whole file, then send each row.
 *
 * Usage: feeder FILE ROWS        cc -std=c99 -O2 -o feeder feeder.c
 *
 * ROWS is the number of rows in the manifest (passes[].rows.rows). `send_row` below prints; put your controller and your clock there.
 * Nothing is sent before the whole file has been checked. A column named `shutter`, `frame` or `warning`, or with a colon in its name (a velocity,
 * AXIS:steps_per_s), is no position and is never sent.
 */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LONGEST 65536
#define MOST 4096

static int is_position[MOST];
static int columns;

static void refuse(const char *why) {
    fprintf(stderr, "refused: %s\n", why);
    exit(1);
}

/* A whole line without its end; 0 at the end of the file. A line that is cut or too long is refused. */
static int line_of(FILE *file, char *line) {
    if (fgets(line, LONGEST, file) == NULL) {
        return 0;
    }
    size_t length = strlen(line);
    if (length == 0 || line[length - 1] != '\n') {
        refuse("a line is cut, or too long");
    }
    line[length - 1] = '\0';
    return 1;
}

static void read_header(char *line) {
    char *cell = line;
    columns = 0;
    while (cell != NULL) {
        char *next = strchr(cell, ',');
        if (next != NULL) {
            *next++ = '\0';
        }
        if (columns >= MOST) {
            refuse("too many columns");
        }
        if (columns == 0 && strcmp(cell, "t_s") != 0) {
            refuse("the first column is not t_s");
        }
        is_position[columns] = columns > 0 && strchr(cell, '.') != NULL && strchr(cell, ':') == NULL;
        if (columns > 0 && !is_position[columns] && strchr(cell, ':') == NULL && strcmp(cell, "shutter") != 0 && strcmp(cell, "frame") != 0 && strcmp(cell, "warning") != 0) {
            refuse("an unknown column");
        }
        columns++;
        cell = next;
    }
}

/* Second and steps of a row; the number of steps. */
static int read_row(char *line, double *second, long long *steps) {
    char *cell = line;
    int column = 0, n = 0;
    while (cell != NULL) {
        char *next = strchr(cell, ',');
        if (next != NULL) {
            *next++ = '\0';
        }
        if (column >= columns) {
            refuse("a row has more cells than the header");
        }
        char *end = NULL;
        errno = 0;
        if (column == 0) {
            *second = strtod(cell, &end);
        } else if (is_position[column]) {
            steps[n++] = strtoll(cell, &end, 10);
        }
        if (end != NULL && (end == cell || *end != '\0' || errno != 0)) {
            refuse("a cell is no number");
        }
        column++;
        cell = next;
    }
    if (column != columns) {
        refuse("a row has fewer cells than the header");
    }
    return n;
}

static void send_row(double second, const long long *steps, int n) {
    printf("%.17g", second);
    for (int i = 0; i < n; i++) {
        printf(" %lld", steps[i]);
    }
    printf("\n");
}

int main(int argc, char **argv) {
    static char line[LONGEST];
    static long long steps[MOST];
    double second = 0.0;
    if (argc != 3) {
        refuse("usage: feeder FILE ROWS");
    }
    unsigned long long wanted = strtoull(argv[2], NULL, 10), count = 0;
    for (int pass = 0; pass < 2; pass++) {
        FILE *file = fopen(argv[1], "r");
        if (file == NULL) {
            refuse("the file cannot be opened");
        }
        if (!line_of(file, line)) {
            refuse("no header");
        }
        read_header(line);
        count = 0;
        while (line_of(file, line)) {
            int n = read_row(line, &second, steps);
            count++;
            if (pass == 1) {
                send_row(second, steps, n);
            }
        }
        fclose(file);
        if (pass == 0 && count != wanted) {
            refuse("the file does not have the rows that the manifest says");
        }
    }
    return 0;
}
