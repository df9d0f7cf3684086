// Embree on the scene and rays that benches/picture/main.rs writes: the same closest hits, timed.
//
//   trace FOLDER THREADS
//
// Reads scene.bin and rays-*.bin, prints `NAME SECONDS` (best of five) a line, writes the distances to NAME.embree.
// Numbers are little-endian, 32 bits. Scene: meshes; for each vertices, triangles, positions, indices; then instances; for
// each its mesh and a 3 x 4 matrix by columns. Rays: their number; for each origin and direction.

#include <embree3/rtcore.h>

#include <atomic>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <limits>
#include <string>
#include <thread>
#include <vector>

static FILE *open(const std::string &path, const char *mode) {
    FILE *file = fopen(path.c_str(), mode);
    if (!file) {
        fprintf(stderr, "can't open %s\n", path.c_str());
        exit(1);
    }
    return file;
}

static void fill(void *to, size_t size, size_t count, FILE *file) {
    if (fread(to, size, count, file) != count) {
        fprintf(stderr, "a file is too short\n");
        exit(1);
    }
}

static uint32_t whole(FILE *file) {
    uint32_t value;
    fill(&value, 4, 1, file);
    return value;
}

static double now() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

static RTCScene load(RTCDevice device, const std::string &folder) {
    FILE *file = open(folder + "/scene.bin", "rb");
    std::vector<RTCScene> meshes(whole(file));
    for (RTCScene &scene : meshes) {
        uint32_t vertices = whole(file), triangles = whole(file);
        RTCGeometry mesh = rtcNewGeometry(device, RTC_GEOMETRY_TYPE_TRIANGLE);
        fill(rtcSetNewGeometryBuffer(mesh, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, 12, vertices), 12, vertices, file);
        fill(rtcSetNewGeometryBuffer(mesh, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, 12, triangles), 12, triangles, file);
        rtcCommitGeometry(mesh);
        scene = rtcNewScene(device);
        rtcAttachGeometry(scene, mesh);
        rtcReleaseGeometry(mesh);
        rtcCommitScene(scene);
    }
    RTCScene top = rtcNewScene(device);
    uint32_t instances = whole(file);
    for (uint32_t i = 0; i < instances; ++i) {
        uint32_t mesh = whole(file);
        float matrix[12];
        fill(matrix, 4, 12, file);
        RTCGeometry instance = rtcNewGeometry(device, RTC_GEOMETRY_TYPE_INSTANCE);
        rtcSetGeometryInstancedScene(instance, meshes.at(mesh));
        rtcSetGeometryTransform(instance, 0, RTC_FORMAT_FLOAT3X4_COLUMN_MAJOR, matrix);
        rtcCommitGeometry(instance);
        rtcAttachGeometry(top, instance);
        rtcReleaseGeometry(instance);
    }
    fclose(file);
    rtcCommitScene(top);
    return top;
}

int main(int count, char **words) {
    if (count != 3) {
        fprintf(stderr, "trace FOLDER THREADS\n");
        return 2;
    }
    std::string folder = words[1];
    unsigned threads = atoi(words[2]);
    RTCDevice device = rtcNewDevice(nullptr);
    RTCScene scene = load(device, folder);
    for (std::string name : {"coherent", "random"}) {
        FILE *file = open(folder + "/rays-" + name + ".bin", "rb");
        std::vector<float> rays(size_t(whole(file)) * 6);
        fill(rays.data(), 4, rays.size(), file);
        fclose(file);
        size_t number = rays.size() / 6;
        std::vector<float> far(number);
        double best = std::numeric_limits<double>::infinity();
        for (int round = 0; round < 5; ++round) {
            std::atomic<size_t> next(0);
            auto work = [&] {
                const size_t run = 1024;
                for (size_t first; (first = next.fetch_add(run)) < number;) {
                    for (size_t i = first; i < std::min(first + run, number); ++i) {
                        const float *ray = &rays[6 * i];
                        RTCIntersectContext context;
                        rtcInitIntersectContext(&context);
                        RTCRayHit hit;
                        memset(&hit, 0, sizeof hit);
                        hit.ray.org_x = ray[0], hit.ray.org_y = ray[1], hit.ray.org_z = ray[2];
                        hit.ray.dir_x = ray[3], hit.ray.dir_y = ray[4], hit.ray.dir_z = ray[5];
                        hit.ray.tfar = std::numeric_limits<float>::infinity();
                        hit.ray.mask = ~0u;
                        hit.hit.geomID = RTC_INVALID_GEOMETRY_ID;
                        hit.hit.instID[0] = RTC_INVALID_GEOMETRY_ID;
                        rtcIntersect1(scene, &context, &hit);
                        far[i] = hit.ray.tfar;
                    }
                }
            };
            double begun = now();
            std::vector<std::thread> pool;
            for (unsigned t = 0; t < threads; ++t) pool.emplace_back(work);
            for (auto &thread : pool) thread.join();
            best = std::min(best, now() - begun);
        }
        printf("%s %.6f\n", name.c_str(), best);
        file = open(folder + "/" + name + ".embree", "wb");
        fwrite(far.data(), 4, far.size(), file);
        fclose(file);
    }
}
