// SPDX-License-Identifier: MIT
// Files that appear whole or not at all, and folders that do.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

namespace catchfield::gis {

/// A file written beside its target under a name nobody can predict, and renamed over it by
/// commit(). Without commit() nothing remains.
class AtomicFile {
  public:
    /// Throws Error(output) where the folder is missing or not writable.
    explicit AtomicFile(const std::string& path);
    ~AtomicFile();
    AtomicFile(const AtomicFile&) = delete;
    AtomicFile& operator=(const AtomicFile&) = delete;

    /// Throws Error(output) with the system's reason (disk full, ...).
    void write(std::string_view bytes);
    /// Flushes to disk (fsync unless `durable` is false: inside a StagedFolder, which does it once
    /// for all files) and renames. Throws Error(output).
    void commit(bool durable = true);
    const std::string& path() const { return m_path; }

  private:
    std::string m_path;
    std::string m_temporary;
    int m_descriptor = -1;
};

/// The whole of `bytes` to `path`, or nothing. Throws Error(output).
void write_file_atomically(const std::string& path, std::string_view bytes);

/// A file inside a StagedFolder, which appears as a whole: written in place, without the cost of a
/// second name. What stands there under that name is replaced; a link is refused. Throws
/// Error(output).
void write_staged_file(const std::string& path, std::string_view bytes);

/// Throws Error(input) for pipes, devices and sockets: they may never end, and cannot be read
/// twice. Silent where nothing is there.
void require_plain_file(const std::string& path);

/// The whole file. Throws Error(input), also for what is no plain file; max_bytes guards against a
/// wrong path.
std::string read_file(const std::string& path, std::size_t max_bytes = std::size_t{1} << 31);

/// `size` bytes of an open file from `offset` on. False where they are not all there.
bool read_at(int descriptor, void* to, std::size_t size, std::uint64_t offset);

/// Writes bytes to an open file from `offset` on. path: for the message. Throws Error(output) with
/// the system's reason.
void write_at(int descriptor, const std::string& path, std::string_view bytes,
              std::uint64_t offset);

/// How the folder that a StagedFolder builds is called, and so whether a later run finds it again.
enum class Staging {
    unguessable,  ///< `.name.partial-xxxxxxxx`: gone after every end but a kill
    lasting,  ///< `.name.partial`, for the owner alone: taken up where a run was stopped or killed
};

/// A folder built aside, beside the target, and renamed at the end. While it lives, a lock on
/// `.name.lock` keeps a second run out of the same target.
class StagedFolder {
  public:
    /// overwrite: an existing target is replaced by commit(), which swaps the two and removes the
    /// old one after. Throws Error(usage) where the target exists and overwrite is false;
    /// Error(output) where the parent is missing or not writable, another run holds the lock, or
    /// the lasting name is taken by what is no folder of this user's own.
    StagedFolder(const std::string& target, bool overwrite, Staging staging = Staging::unguessable);
    /// Removes the partial folder unless committed or kept.
    ~StagedFolder();
    StagedFolder(const StagedFolder&) = delete;
    StagedFolder& operator=(const StagedFolder&) = delete;

    /// Where to write: path of the partial folder.
    const std::string& path() const { return m_partial; }
    /// A lasting folder that an earlier run left.
    bool found() const { return m_found; }
    /// Removes all that stands in the partial folder.
    void clear() const;
    /// Whether the folder stays for a later run where it is not committed.
    void keep(bool yes = true) { m_keep = yes; }
    bool kept() const { return m_keep; }
    /// Creates a sub-folder (and its parents) and returns its path.
    std::string folder(const std::string& name) const;
    /// Syncs the file system of the folder and renames it to the target. working_file: name of a
    /// file in the folder that goes away once everything else is on disk. Throws Error(output).
    void commit(const std::string& working_file = "");

  private:
    void take_lock(const std::string& base);
    void make_unguessable(const std::string& base);
    void make_lasting(const std::string& base);

    std::string m_target;
    std::string m_partial;
    std::string m_lock;
    int m_lock_descriptor = -1;
    bool m_overwrite = false;
    bool m_found = false;
    bool m_keep = false;
    bool m_committed = false;
};

/// Removes a folder and all it holds; silent where it does not exist. Does not follow links.
void remove_folder(const std::string& path);

}  // namespace catchfield::gis
