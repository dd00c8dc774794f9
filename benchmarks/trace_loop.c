/* The same trace as rimwise.optics.compiled, as a C programmer would write it: a yardstick.
 *
 * PLAIN goes ray by ray through all surfaces. BLOCKED carries 64 rays at a time through each
 * surface, which lets the compiler use its vector units. Rows are those of the compiled table:
 * matrix 0-8, shift 9-11, cx 12, cy 13, kx 14, ky 15, index 16, mu 17, semi^2 18, a4.. 19-21.
 * kind 0 conic, 1 even asphere of up to three terms; action 0 refract, 2 pass.
 */
#include <math.h>

#define W 27
#define LANES 64
#define NEWTON                                                        \
    r2 = x * x + y * y;                                               \
    q = sqrt(1.0 - bent * r2);                                        \
    v = a4 + r2 * (a6 + r2 * a8);                                     \
    s = 2.0 * a4 + r2 * (3.0 * a6 + r2 * 4.0 * a8);                   \
    bend = cv + 2.0 * q * s * r2;                                     \
    left = (z - v * r2 * r2) * (1.0 + q) - cv * r2;                   \
    t = -left * q / ((1.0 + q) * (q * c - (x * a + y * b) * bend));   \
    x += t * a; y += t * b; z += t * c; total += t;

static inline __attribute__((always_inline)) void surface(const double *r, int kind, int action, double *px, double *py,
                           double *pz, double *dx, double *dy, double *dz, double *path,
                           double *fate, double step)
{
    double x = r[0] * *px + r[1] * *py + r[2] * *pz + r[9];
    double y = r[3] * *px + r[4] * *py + r[5] * *pz + r[10];
    double z = r[6] * *px + r[7] * *py + r[8] * *pz + r[11];
    double a = r[0] * *dx + r[1] * *dy + r[2] * *dz;
    double b = r[3] * *dx + r[4] * *dy + r[5] * *dz;
    double c = r[6] * *dx + r[7] * *dy + r[8] * *dz;
    double cv = r[12], k = r[14], t = -(x * a + y * b + z * c), total = t;
    x += t * a; y += t * b; z += t * c;
    double h = c * (1.0 - cv * k * z);
    double cc = cv * (x * x + y * y + (1.0 + k) * z * z) - 2.0 * z;
    double root = sqrt(h * h - cv * (1.0 + k * c * c) * cc);
    t = cc / (h + (c >= 0.0 ? root : -root));
    double left = 0.0, nx, ny, nz;
    if (kind == 0) {
        x += t * a; y += t * b; z += t * c; total += t;
        nx = -cv * x; ny = -cv * y; nz = 1.0 - cv * (1.0 + k) * z;
    } else {
        t = t == t ? t : 0.0;
        x += t * a; y += t * b; z += t * c; total += t;
        double a4 = r[19], a6 = r[20], a8 = r[21], bent = (1.0 + k) * cv * cv, r2, q, v, s, bend;
        NEWTON
        NEWTON
        r2 = x * x + y * y;
        q = sqrt(1.0 - bent * r2);
        v = a4 + r2 * (a6 + r2 * a8);
        s = 2.0 * a4 + r2 * (3.0 * a6 + r2 * 4.0 * a8);
        bend = cv + 2.0 * q * s * r2;
        left = fabs((z - v * r2 * r2) * (1.0 + q) - cv * r2);
        nx = -x * bend; ny = -y * bend; nz = q;
    }
    *path += r[16] * total;
    double nn = nx * nx + ny * ny + nz * nz, ci = nx * a + ny * b + nz * c;
    double mu = action ? 1.0 : r[17];
    double under = nn - mu * mu * (nn - ci * ci);
    root = sqrt(under);
    double g = action ? 0.0 : ((ci >= 0.0 ? root : -root) - mu * ci) / nn;
    *dx = mu * a + g * nx; *dy = mu * b + g * ny; *dz = mu * c + g * nz;
    *px = x; *py = y; *pz = z;
    double bad = (under >= 0.0) & (x * x + y * y <= r[18]) & (left <= 1e-13) & (nz > 0.0) ? 0.0 : step + 1.0;
    *fate = *fate == 0.0 ? bad : *fate;
}

static inline void leave(const double *p, const double *v, double *pos, double *dir)
{
    for (int i = 0; i < 3; i++) {
        pos[i] = p[3 * i] * v[0] + p[3 * i + 1] * v[1] + p[3 * i + 2] * v[2] + p[9 + i];
        dir[i] = p[3 * i] * v[3] + p[3 * i + 1] * v[4] + p[3 * i + 2] * v[5];
    }
}

void trace_plain(const double *rows, const long *codes, const double *pose, long steps, long n,
                 const double *pos, const double *dir, double *opos, double *odir, double *opl,
                 double *fate, int threads)
{
#pragma omp parallel for num_threads(threads) schedule(static)
    for (long i = 0; i < n; i++) {
        double v[6] = {pos[3 * i], pos[3 * i + 1], pos[3 * i + 2],
                       dir[3 * i], dir[3 * i + 1], dir[3 * i + 2]}, path = 0.0, f = 0.0;
        for (long s = 0; s < steps; s++)
            surface(rows + W * s, codes[2 * s], codes[2 * s + 1],
                    v, v + 1, v + 2, v + 3, v + 4, v + 5, &path, &f, s);
        leave(pose, v, opos + 3 * i, odir + 3 * i);
        opl[i] = path;
        fate[i] = f;
    }
}

static inline __attribute__((always_inline)) void lanes(const double *restrict r, int kind,
                                                        int action, double (*restrict v)[LANES],
                                                        double step)
{
    double row[W];
    for (int i = 0; i < W; i++) row[i] = r[i];
#pragma omp simd
    for (int i = 0; i < LANES; i++) {
        double x = v[0][i], y = v[1][i], z = v[2][i], a = v[3][i], b = v[4][i], c = v[5][i];
        double path = v[6][i], fate = v[7][i];
        surface(row, kind, action, &x, &y, &z, &a, &b, &c, &path, &fate, step);
        v[0][i] = x; v[1][i] = y; v[2][i] = z; v[3][i] = a; v[4][i] = b; v[5][i] = c;
        v[6][i] = path; v[7][i] = fate;
    }
}

void trace_blocked(const double *rows, const long *codes, const double *pose, long steps, long n,
                   const double *pos, const double *dir, double *opos, double *odir, double *opl,
                   double *fate, int threads)
{
#pragma omp parallel for num_threads(threads) schedule(static)
    for (long first = 0; first < n; first += LANES) {
        double v[8][LANES];
        long count = n - first < LANES ? n - first : LANES;
        for (int i = 0; i < LANES; i++) {
            long j = first + (i < count ? i : count - 1);
            for (int a = 0; a < 3; a++) { v[a][i] = pos[3 * j + a]; v[3 + a][i] = dir[3 * j + a]; }
            v[6][i] = v[7][i] = 0.0;
        }
        for (long s = 0; s < steps; s++) {
            if (codes[2 * s] == 0)
                lanes(rows + W * s, 0, codes[2 * s + 1], v, s);
            else
                lanes(rows + W * s, 1, codes[2 * s + 1], v, s);
        }
        for (long i = 0; i < count; i++) {
            double w[6] = {v[0][i], v[1][i], v[2][i], v[3][i], v[4][i], v[5][i]};
            leave(pose, w, opos + 3 * (first + i), odir + 3 * (first + i));
            opl[first + i] = v[6][i];
            fate[first + i] = v[7][i];
        }
    }
}
