/* The march of wavesim/kernels/cells.py as one would write it in C: the same scheme (MUSCL-Hancock
 * in characteristic variables, HLLC, adaptive step) in the same stages, perfect gas, closed ends.
 * Only a yardstick for the benchmarks.
 *
 * With `duct` it does all that the march does with air in a duct without walls: cells of any length
 * and area, the temperature.  Without, the three Euler equations at constant area and no more.
 *
 *     cc -O3 -march=native -ffast-math -shared -fPIC euler_march.c -o euler_march.so -lm
 */
#include <math.h>
#include <stddef.h>

#define INLINE static inline __attribute__((always_inline))
#define IN const double *restrict
#define OUT double *restrict

INLINE double min2(double a, double b) { return a < b ? a : b; }
INLINE double max2(double a, double b) { return a > b ? a : b; }

INLINE double half_slope(double a, double b, double steep)
{
    double mean = 0.25 * (1.0 + steep) * (a + b), low = min2(a, b), high = max2(a, b);
    return max2(0.0, min2(low, mean)) + min2(0.0, max2(high, mean));
}

INLINE double steepness(double jump) { return min2(1.0, max2(0.0, (jump - 0.05) / 0.05)); }

/* largest (|u| + c) / dx */
INLINE double primitives(int duct, long n, double gamma, double R, double per_dx, IN r, IN m, IN e,
                         IN inv_dx, OUT u, OUT p, OUT c, OUT T)
{
    double top = 0.0;
    for (long i = 0; i < n; i++) {
        double ir = 1.0 / r[i];
        u[i] = m[i] * ir;
        p[i] = (gamma - 1.0) * (e[i] - 0.5 * m[i] * u[i]);
        c[i] = sqrt(gamma * p[i] * ir);
        if (duct)
            T[i] = p[i] * ir / R;
        top = max2(top, (fabs(u[i]) + c[i]) * (duct ? inv_dx[i] : per_dx));
    }
    return top;
}

INLINE void reconstruct(int duct, long n, double dt, double per_dx, IN r, IN u, IN p, IN c,
                        IN inv_dx, IN dlna, OUT rm, OUT um, OUT pm, OUT rp, OUT up, OUT pp,
                        OUT per_z)
{
    for (long i = 1; i < n - 1; i++) {
        double z = r[i] * c[i], iz = 1.0 / z, ic = r[i] * iz, ic2 = ic * ic, ir = c[i] * iz;
        double dp0 = p[i] - p[i - 1], dp1 = p[i + 1] - p[i];
        double zu0 = z * (u[i] - u[i - 1]), zu1 = z * (u[i + 1] - u[i]);
        double ds0 = r[i] - r[i - 1] - dp0 * ic2, ds1 = r[i + 1] - r[i] - dp1 * ic2;
        double left = half_slope(dp0 - zu0, dp1 - zu1, 0.0);
        double right = half_slope(dp0 + zu0, dp1 + zu1, 0.0);
        double entropy = half_slope(ds0, ds1, steepness(0.5 * ir * (fabs(ds0) + fabs(ds1))));
        double sp = 0.5 * (left + right), su = 0.5 * (right - left) * iz;
        double sr = entropy + sp * ic2, nu = dt * (duct ? inv_dx[i] : per_dx);
        double squeeze = nu * su + (duct ? 0.5 * dt * u[i] * dlna[i] : 0.0);
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
        per_z[i] = iz;
    }
}

INLINE void flux(long n, double gamma, IN rm, IN um, IN pm, IN rp, IN up, IN pp, IN c, IN per_z,
                 OUT fr, OUT fm, OUT fe)
{
    const double k = 0.25 * (gamma + 1.0), per_g1 = 1.0 / (gamma - 1.0);
    for (long i = 2; i < n - 1; i++) {
        long j = i - 1;
        double ps = 0.5 * (pp[j] + pm[i])
                    - 0.125 * (um[i] - up[j]) * (rp[j] + rm[i]) * (c[j] + c[i]);
        double push_l = min2(1.2 * c[j], k * per_z[j] * max2(0.0, ps - pp[j]));
        double push_r = min2(1.2 * c[i], k * per_z[i] * max2(0.0, ps - pm[i]));
        double sl = min2(up[j] - c[j] - push_l, um[i] - c[i]);
        double sr = max2(um[i] + c[i] + push_r, up[j] + c[j]);
        double ml = rp[j] * (sl - up[j]), mr = rm[i] * (sr - um[i]);
        double thrust = pm[i] - pp[j] + ml * up[j] - mr * um[i], mass = ml - mr;
        int left = thrust < 0.0;
        double r = left ? rp[j] : rm[i], u = left ? up[j] : um[i], p = left ? pp[j] : pm[i];
        double sk = left ? sl : sr, s0 = left ? min2(sl, 0.0) : max2(sr, 0.0);
        double gap = sk * mass - thrust, per_both = 1.0 / (mass * gap);
        double sm = thrust * gap * per_both, squeeze = mass * mass * per_both;
        double step = s0 * (sm - u), carried = u + step * squeeze;
        fr[i] = r * carried;
        fm[i] = p + r * (u * u + step * (1.0 + squeeze * sm));
        fe[i] = carried * (p * per_g1 + 0.5 * r * u * u) + p * u
                + step * (r * (sk - u) * sm + p) * squeeze;
    }
}

INLINE void update(int duct, long n, double dt, double per_dx, IN area, IN inv_vol, IN pm, IN pp,
                   IN fr, IN fm, IN fe, OUT r, OUT m, OUT e)
{
    for (long i = 2; i < n - 2; i++) {
        double a0 = dt * (duct ? area[i] * inv_vol[i] : per_dx);
        double a1 = duct ? dt * area[i + 1] * inv_vol[i] : a0;
        double wall = duct ? 0.5 * (pm[i] + pp[i]) : 0.0;
        r[i] -= a1 * fr[i + 1] - a0 * fr[i];
        m[i] -= a1 * (fm[i + 1] - wall) - a0 * (fm[i] - wall);
        e[i] -= a1 * fe[i + 1] - a0 * fe[i];
    }
}

INLINE void mirror(double *row, long n, double sign)
{
    for (long g = 0; g < 2; g++) {
        row[1 - g] = sign * row[2 + g];
        row[n - 2 + g] = sign * row[n - 3 - g];
    }
}

INLINE long run(int duct, long n, double gamma, double R, double cfl, long steps, double *U,
                double *geometry, double *work)
{
    double *r = U, *m = U + n, *e = U + 2 * n;
    double *inv_dx = geometry, *dlna = geometry + n, *inv_vol = geometry + 2 * n;
    double *area = geometry + 3 * n, per_dx = inv_dx[2];
    double *u = work, *p = u + n, *c = p + n, *rm = c + n, *um = rm + n, *pm = um + n, *rp = pm + n;
    double *up = rp + n, *pp = up + n, *fr = pp + n, *fm = fr + n, *fe = fm + n, *T = fe + n;
    double *per_z = T + n;
    for (long step = 0; step < steps; step++) {
        mirror(r, n, 1.0);
        mirror(m, n, -1.0);
        mirror(e, n, 1.0);
        double dt = cfl / primitives(duct, n, gamma, R, per_dx, r, m, e, inv_dx, u, p, c, T);
        if (!(dt > 0.0))
            return step;
        reconstruct(duct, n, dt, per_dx, r, u, p, c, inv_dx, dlna, rm, um, pm, rp, up, pp,
                    per_z);
        flux(n, gamma, rm, um, pm, rp, up, pp, c, per_z, fr, fm, fe);
        update(duct, n, dt, per_dx, area, inv_vol, pm, pp, fr, fm, fe, r, m, e);
    }
    return steps;
}

/* `n` is the number of cells and two ghosts at each end.  U holds rows of n, the first three
 * density, momentum and energy; geometry 3 rows of n (1/dx, slope of ln area, 1/volume) and
 * one of n + 1 (face areas); work 14 rows of n.  Returns the number of steps taken.
 */
long euler_march(int duct, long n, double gamma, double R, double cfl, long steps, double *U,
                 double *geometry, double *work)
{
    return duct ? run(1, n, gamma, R, cfl, steps, U, geometry, work)
                : run(0, n, gamma, R, cfl, steps, U, geometry, work);
}
