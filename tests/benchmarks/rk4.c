/* The same mix by classic Runge-Kutta at a fixed time step, one body after the other.
 *
 *   cc -O3 -march=native -ffast-math rk4.c -o rk4 -lm;  rk4 N DT < bodies > landings
 *
 * Reads N rows of seven doubles (drag over twice the mass, height, sideways east and north,
 * wind scale, cosine and sine of the wind's turn), writes N rows of two (east, north) and
 * the seconds it took to standard error. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { LEVELS = 12, TABLE = 4096 };
static const double level[LEVELS] = {0, 10, 100, 250, 500, 750, 1000, 1500, 2000, 2500, 3000, 4000};
static const double speed[LEVELS] = {2.5, 4, 6, 7, 9, 10, 11, 13, 15, 17, 18, 22};
static const double from[LEVELS] = {200, 205, 210, 215, 225, 230, 235, 240, 250, 255, 260, 265};
static double east[LEVELS], north[LEVELS], density[TABLE]; /* density every 2 m */
static int at;                                             /* layer the body is in */

static void rate(const double *body, const double *y, double *d)
{
    while (at > 0 && y[2] < level[at]) at--;
    while (at < LEVELS - 2 && y[2] > level[at + 1]) at++;
    double part = fmax(0, (y[2] - level[at]) / (level[at + 1] - level[at]));
    double u = (east[at] + part * (east[at + 1] - east[at])) * body[4];
    double v = (north[at] + part * (north[at + 1] - north[at])) * body[4];
    double x = fmax(0, y[2]) / 2;
    int k = (int)x;
    double rho = density[k] + (x - k) * (density[k + 1] - density[k]);
    double rx = y[3] - (body[5] * u - body[6] * v), ry = y[4] - (body[6] * u + body[5] * v);
    double q = body[0] * rho * sqrt(rx * rx + ry * ry + y[5] * y[5]);
    d[0] = y[3], d[1] = y[4], d[2] = y[5];
    d[3] = -q * rx, d[4] = -q * ry, d[5] = -q * y[5] - 9.80665;
}

int main(int argc, char **argv)
{
    if (argc != 3) return fprintf(stderr, "usage: rk4 N DT\n"), 2;
    size_t n = strtoul(argv[1], 0, 10);
    double dt = atof(argv[2]), *bodies = malloc(n * 7 * sizeof(double)), *out = malloc(n * 2 * sizeof(double));
    if (!bodies || !out || fread(bodies, 7 * sizeof(double), n, stdin) != n) return 1;
    for (int i = 0; i < LEVELS; i++) {
        double r = from[i] * M_PI / 180;
        east[i] = -speed[i] * sin(r), north[i] = -speed[i] * cos(r);
    }
    for (int i = 0; i < TABLE; i++) density[i] = 1.225 * pow(1 - 2.25577e-5 * (2.0 * i + 1200), 4.25588);
    struct timespec t0, t1;
    clock_gettime(CLOCK_MONOTONIC, &t0);
    for (size_t p = 0; p < n; p++) {
        const double *b = bodies + 7 * p;
        double y[6] = {0, 0, b[1], b[2], b[3], 0}, k1[6], k2[6], k3[6], k4[6], w[6];
        for (at = 6;;) {
            rate(b, y, k1);
            for (int i = 0; i < 6; i++) w[i] = y[i] + dt / 2 * k1[i];
            rate(b, w, k2);
            for (int i = 0; i < 6; i++) w[i] = y[i] + dt / 2 * k2[i];
            rate(b, w, k3);
            for (int i = 0; i < 6; i++) w[i] = y[i] + dt * k3[i];
            rate(b, w, k4);
            for (int i = 0; i < 6; i++) w[i] = y[i] + dt / 6 * (k1[i] + 2 * k2[i] + 2 * k3[i] + k4[i]);
            if (w[2] <= 0) {
                double part = y[2] / (y[2] - w[2]);
                out[2 * p] = y[0] + part * (w[0] - y[0]), out[2 * p + 1] = y[1] + part * (w[1] - y[1]);
                break;
            }
            for (int i = 0; i < 6; i++) y[i] = w[i];
        }
    }
    clock_gettime(CLOCK_MONOTONIC, &t1);
    fprintf(stderr, "%.6f\n", (t1.tv_sec - t0.tv_sec) + 1e-9 * (t1.tv_nsec - t0.tv_nsec));
    return fwrite(out, 2 * sizeof(double), n, stdout) != n;
}
