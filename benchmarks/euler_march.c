/* The plain Euler march of wavesim/kernels/cells.py as one would write it in C: the same scheme
 * (MUSCL-Hancock in characteristic variables, HLLC, adaptive step), the same stages, perfect gas,
 * constant area, closed ends.  Only a yardstick for benchmarks/bench_kernels.py.
 *
 *     cc -O3 -march=native -ffast-math -shared -fPIC euler_march.c -o euler_march.so -lm
 */
#include <math.h>
#include <stddef.h>

static inline double min2(double a, double b) { return a < b ? a : b; }
static inline double max2(double a, double b) { return a > b ? a : b; }

static inline double half_slope(double a, double b, double steep)
{
    double mean = 0.25 * (1.0 + steep) * (a + b), low = min2(a, b), high = max2(a, b);
    return max2(0.0, min2(low, mean)) + min2(0.0, max2(high, mean));
}

static double primitives(long n, double gamma, double g1, const double *restrict r, const double *restrict m, const double *restrict e, double *restrict u, double *restrict p, double *restrict c)
{
    double top = 0.0;
    for (long i = 0; i < n; i++) {
        double ir = 1.0 / r[i];
        u[i] = m[i] * ir;
        p[i] = g1 * (e[i] - 0.5 * m[i] * u[i]);
        c[i] = sqrt(gamma * p[i] * ir);
        top = max2(top, fabs(u[i]) + c[i]);
    }
    return top;
}

static void reconstruct(long n, double nu, const double *restrict r, const double *restrict u, const double *restrict p, const double *restrict c, double *restrict rm, double *restrict um, double *restrict pm, double *restrict rp, double *restrict up, double *restrict pp)
{
    for (long i = 1; i < n - 1; i++) {
        double z = r[i] * c[i], iz = 1.0 / z, ic = r[i] * iz, ic2 = ic * ic, ir = c[i] * iz;
        double dp0 = p[i] - p[i - 1], dp1 = p[i + 1] - p[i];
        double zu0 = z * (u[i] - u[i - 1]), zu1 = z * (u[i + 1] - u[i]);
        double ds0 = r[i] - r[i - 1] - dp0 * ic2, ds1 = r[i + 1] - r[i] - dp1 * ic2;
        double jump = 0.5 * ir * (fabs(ds0) + fabs(ds1));
        double steep = min2(1.0, max2(0.0, (jump - 0.05) / 0.05));
        double left = half_slope(dp0 - zu0, dp1 - zu1, 0.0);
        double right = half_slope(dp0 + zu0, dp1 + zu1, 0.0);
        double entropy = half_slope(ds0, ds1, steep);
        double sp = 0.5 * (left + right), su = 0.5 * (right - left) * iz;
        double sr = entropy + sp * ic2, squeeze = nu * su;
        double hr = -nu * u[i] * sr - r[i] * squeeze;
        double hu = -nu * (u[i] * su + sp * ir);
        double hp = -nu * u[i] * sp - z * c[i] * squeeze;
        double low_r = r[i] + hr - fabs(sr) - 0.05 * r[i];
        double low_p = p[i] + hp - fabs(sp) - 0.05 * p[i];
        double keep = min2(low_r, low_p) > 0.0 ? 1.0 : 0.0;
        rm[i] = r[i] + keep * (hr - sr);
        rp[i] = r[i] + keep * (hr + sr);
        um[i] = u[i] + keep * (hu - su);
        up[i] = u[i] + keep * (hu + su);
        pm[i] = p[i] + keep * (hp - sp);
        pp[i] = p[i] + keep * (hp + sp);
    }
}

static void flux(long n, double g1, double k, const double *restrict rm, const double *restrict um, const double *restrict pm, const double *restrict rp, const double *restrict up, const double *restrict pp, const double *restrict c, double *restrict fr, double *restrict fm, double *restrict fe)
{
    for (long i = 2; i < n - 1; i++) {
        long j = i - 1;
        double el = pp[j] / g1 + 0.5 * rp[j] * up[j] * up[j];
        double er = pm[i] / g1 + 0.5 * rm[i] * um[i] * um[i];
        double ps = max2(0.0, 0.5 * (pp[j] + pm[i])
                                  - 0.125 * (um[i] - up[j]) * (rp[j] + rm[i]) * (c[j] + c[i]));
        double ql = sqrt(1.0 + k * max2(0.0, ps / pp[j] - 1.0));
        double qr = sqrt(1.0 + k * max2(0.0, ps / pm[i] - 1.0));
        double sl = min2(up[j] - c[j] * ql, um[i] - c[i]);
        double sr = max2(um[i] + c[i] * qr, up[j] + c[j]);
        double ml = rp[j] * (sl - up[j]), mr = rm[i] * (sr - um[i]);
        double sm = (pm[i] - pp[j] + ml * up[j] - mr * um[i]) / (ml - mr);
        int left = sm > 0.0;
        double rk = left ? rp[j] : rm[i], uk = left ? up[j] : um[i];
        double pk = left ? pp[j] : pm[i], ek = left ? el : er;
        double sk = left ? sl : sr, mk = left ? ml : mr;
        double s0 = left ? min2(sl, 0.0) : max2(sr, 0.0);
        double rs = mk / (sk - sm);
        double es = (mk * ek + (sm - uk) * (mk * rk * sm + rk * pk)) / (rk * (sk - sm));
        fr[i] = rk * uk + s0 * (rs - rk);
        fm[i] = rk * uk * uk + pk + s0 * (rs * sm - rk * uk);
        fe[i] = uk * (ek + pk) + s0 * (es - ek);
    }
}

static void update(long n, double nu, const double *restrict fr, const double *restrict fm, const double *restrict fe, double *restrict r, double *restrict m, double *restrict e)
{
    for (long i = 2; i < n - 2; i++) {
        r[i] -= nu * (fr[i + 1] - fr[i]);
        m[i] -= nu * (fm[i + 1] - fm[i]);
        e[i] -= nu * (fe[i + 1] - fe[i]);
    }
}

/* arrays of n = cells + 4, two ghosts at each end; w holds 9 more rows of n, f 3 rows of n */
long euler_march(long n, double dx, double gamma, double cfl, double t_end, long max_steps,
                 double *r, double *m, double *e, double *w, double *f)
{
    double *u = w, *p = w + n, *c = w + 2 * n, *rm = w + 3 * n, *um = w + 4 * n, *pm = w + 5 * n;
    double *rp = w + 6 * n, *up = w + 7 * n, *pp = w + 8 * n;
    const double g1 = gamma - 1.0, k = 0.5 * (gamma + 1.0) / gamma;
    double t = 0.0;
    long step = 0;
    while (t < t_end && step < max_steps) {
        for (int side = 0; side < 2; side++) { /* mirror at the walls */
            long edge = side ? n - 2 : 1, in = side ? n - 3 : 2, s = side ? 1 : -1;
            for (int g = 0; g < 2; g++) {
                r[edge + g * s] = r[in - g * s];
                m[edge + g * s] = -m[in - g * s];
                e[edge + g * s] = e[in - g * s];
            }
        }
        double top = primitives(n, gamma, g1, r, m, e, u, p, c);
        double dt = min2(cfl * dx / top, t_end - t), nu = dt / dx;
        reconstruct(n, nu, r, u, p, c, rm, um, pm, rp, up, pp);
        flux(n, g1, k, rm, um, pm, rp, up, pp, c, f, f + n, f + 2 * n);
        update(n, nu, f, f + n, f + 2 * n, r, m, e);
        t += dt;
        step++;
    }
    return step;
}
